"""What may have a limit: the quantities that are measured, and what each is.

The names are those of the results (``ingest/geometry/network``, ``ingest/geometry/sweep``,
``ingest/geometry/corrections``); signs are those of ``ingest/core/frames.py``.
"""

from dataclasses import dataclass
from enum import StrEnum


class Of(StrEnum):
    """What a quantity is one of."""

    WHEEL = "wheel"
    AXLE = "axle"
    VEHICLE = "vehicle"


class Form(StrEnum):
    """In which units a quantity may be told."""

    ANGLE = "angle"
    """Degrees and minutes only."""
    SLOPE = "slope"
    """An angle that may also be told as a length across a stated one."""
    LENGTH = "length"


@dataclass(frozen=True, slots=True)
class Kind:
    """What a quantity is. ``most``: deg or mm beyond which it must be another unit.

    ``sided``: it has a side without being one wheel's: the side that is turned to.
    """

    words: str
    of: Of
    form: Form
    most: float
    wheels: int = 1
    sided: bool = False

    @property
    def has_sides(self) -> bool:
        """Whether left and right have figures of their own."""
        return self.of is Of.WHEEL or self.sided


class Quantity(StrEnum):
    """The quantities, by the names that results have in files."""

    CAMBER = "camber"
    TOE = "toe"
    TOTAL_TOE = "total_toe"
    CASTER = "caster"
    SAI = "sai"
    INCLUDED_ANGLE = "included_angle"
    CROSS_CAMBER = "cross_camber"
    CROSS_CASTER = "cross_caster"
    CROSS_SAI = "cross_sai"
    HEADING = "heading"
    SCRUB = "scrub"
    THRUST = "thrust"
    DRIVE_HEADING = "drive_heading"
    PARALLELISM = "parallelism"
    SETBACK = "setback"
    LATERAL_OFFSET = "lateral_offset"
    LOCK_ANGLE = "lock_angle"
    TOE_OUT_ON_TURNS = "toe_out_on_turns"
    STEERING_WHEEL = "steering_wheel"

    @property
    def kind(self) -> Kind:
        """What it is."""
        return KINDS[self]


_SMALL, _STEEP, _LOCK, _ROUND, _ASIDE_MM = 10.0, 20.0, 75.0, 180.0, 200.0

KINDS: dict[Quantity, Kind] = {
    Quantity.CAMBER: Kind("camber", Of.WHEEL, Form.SLOPE, _SMALL),
    Quantity.TOE: Kind("toe", Of.WHEEL, Form.SLOPE, _SMALL),
    Quantity.TOTAL_TOE: Kind("total toe", Of.AXLE, Form.SLOPE, _SMALL, wheels=2),
    Quantity.CASTER: Kind("caster", Of.WHEEL, Form.ANGLE, _STEEP),
    Quantity.SAI: Kind("steering-axis inclination", Of.WHEEL, Form.ANGLE, _STEEP),
    Quantity.INCLUDED_ANGLE: Kind("included angle", Of.WHEEL, Form.ANGLE, _STEEP),
    Quantity.CROSS_CAMBER: Kind("cross camber", Of.AXLE, Form.ANGLE, _SMALL),
    Quantity.CROSS_CASTER: Kind("cross caster", Of.AXLE, Form.ANGLE, _SMALL),
    Quantity.CROSS_SAI: Kind("cross steering-axis inclination", Of.AXLE, Form.ANGLE, _SMALL),
    Quantity.HEADING: Kind("heading", Of.AXLE, Form.SLOPE, _SMALL),
    Quantity.SCRUB: Kind("scrub angle", Of.AXLE, Form.SLOPE, _SMALL),
    Quantity.THRUST: Kind("thrust angle", Of.VEHICLE, Form.SLOPE, _SMALL),
    Quantity.DRIVE_HEADING: Kind("mean heading of the drive axles", Of.VEHICLE, Form.SLOPE, _SMALL),
    Quantity.PARALLELISM: Kind("parallelism of the steer axles", Of.VEHICLE, Form.SLOPE, _SMALL),
    Quantity.SETBACK: Kind("setback", Of.AXLE, Form.SLOPE, _SMALL),
    Quantity.LATERAL_OFFSET: Kind("lateral offset", Of.AXLE, Form.LENGTH, _ASIDE_MM),
    Quantity.LOCK_ANGLE: Kind("turning angle at the stop", Of.AXLE, Form.ANGLE, _LOCK, sided=True),
    Quantity.TOE_OUT_ON_TURNS: Kind("toe-out on turns", Of.AXLE, Form.ANGLE, _STEEP, sided=True),
    Quantity.STEERING_WHEEL: Kind("steering wheel", Of.VEHICLE, Form.ANGLE, _ROUND),
}
