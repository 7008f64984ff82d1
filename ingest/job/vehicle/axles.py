"""One axle of a vehicle: what it is for, where it stands, what adjusts it. Metres, radians."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, Self

from ingest.core.frames import Side
from ingest.geometry.corrections.parts import AdjusterPart
from ingest.geometry.corrections.wanted import Quantity


class Role(StrEnum):
    """What an axle is for."""

    STEER = "steer"
    SECOND_STEER = "second_steer"
    DRIVE = "drive"
    PUSHER = "pusher"
    """Carries ahead of the drive axles, always on the road."""
    TAG = "tag"
    """Carries behind the drive axles, always on the road."""
    LIFT = "lift"
    """Can be lifted off the road, wherever it stands."""
    TRAILER = "trailer"
    DOLLY = "dolly"

    @property
    def is_steered(self) -> bool:
        """Whether the steering wheel turns it."""
        return self in (Role.STEER, Role.SECOND_STEER)

    @property
    def in_words(self) -> str:
        """The role as a person says it."""
        return self.value.replace("_", " ")


class Wheel(NamedTuple):
    """Which wheel; a dual counts as one."""

    axle: int
    side: Side

    @property
    def id(self) -> str:
        """Its name in files and networks, such as ``L2``."""
        return f"{'L' if self.side is Side.LEFT else 'R'}{self.axle}"

    @classmethod
    def named(cls, text: str) -> Self:
        """Return the wheel of that name. Raises ``ValueError``."""
        side = {"L": Side.LEFT, "R": Side.RIGHT}.get(text[:1])
        if side is None or not (text[1:].isascii() and text[1:].isdecimal()):
            raise ValueError(f"{text!r} names no wheel; L2 is the left wheel of axle 2")
        return cls(int(text[1:]), side)


@dataclass(frozen=True, slots=True)
class Tyre:
    """Size as it is written on the tyre; diameter and width of one tyre, m."""

    size: str
    diameter_m: float
    width_m: float


@dataclass(frozen=True, slots=True)
class RideHeight:
    """How high the suspension must stand, m: between which points, and who says so."""

    height_m: float
    between: str
    source: str


WORKED = (
    Quantity.LATERAL_OFFSET,
    Quantity.AXLE_HEADING,
    Quantity.CASTER,
    Quantity.TOTAL_TOE,
    Quantity.STEERING_WHEEL,
    Quantity.STEER_PARALLELISM,
    Quantity.LOCK_ANGLE,
    Quantity.CAMBER,
)
"""What can be adjusted, in the order in which it is worked: what moves others comes first."""


@dataclass(frozen=True, slots=True)
class Adjuster:
    """What sets one quantity of an axle; ``side`` where each side has its own."""

    quantity: Quantity
    part: AdjusterPart
    side: Side | None = None


@dataclass(frozen=True, slots=True)
class Axle:
    """An axle.

    ``behind_m``: how far it stands behind axle 1, the combination straight. ``track_m``: between
    the faces that the wheels are bolted to. ``toe_diameter_m``: at which toe in mm is told.
    ``adjusters``: none where nothing can be adjusted.
    """

    number: int
    unit: str
    role: Role
    behind_m: float
    track_m: float
    tyre: Tyre
    rim_m: float
    toe_diameter_m: float
    dual: bool = False
    beam: bool = True
    """False where each wheel is hung by itself."""
    ride_height: RideHeight | None = None
    adjusters: tuple[Adjuster, ...] = ()
    reference: bool = False
    """Whether the file names it as the one that its unit is told against."""

    @property
    def adjustable(self) -> bool:
        """Whether anything of it can be adjusted."""
        return bool(self.adjusters)

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """What can be adjusted, each once, in the order in which it is worked."""
        there = {each.quantity for each in self.adjusters}
        return tuple(quantity for quantity in WORKED if quantity in there)

    @property
    def wheels(self) -> tuple[Wheel, Wheel]:
        """Left and right."""
        return Wheel(self.number, Side.LEFT), Wheel(self.number, Side.RIGHT)

    def adjuster(self, quantity: Quantity, side: Side | None = None) -> Adjuster | None:
        """Return what sets a quantity, None where nothing does."""
        found = (a for a in self.adjusters if (a.quantity, a.side) == (quantity, side))
        return next(found, None)
