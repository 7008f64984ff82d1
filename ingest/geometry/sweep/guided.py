"""What guides a steering sweep while it goes on: the settings, a reading, and the state."""

import math
from dataclasses import dataclass, field
from enum import StrEnum

from ingest.core.frames import Side
from ingest.geometry.sweep.readings import SweepLimits, SweepNoise
from ingest.geometry.sweep.steering import Steering
from ingest.geometry.sweep.turning import INNER_RAD


class Need(StrEnum):
    """What is still needed, in the order in which it is asked for."""

    LEFT = "steer-left"
    RIGHT = "steer-right"
    STRAIGHT = "back-to-straight-ahead"
    MORE = "more-readings"


class Trouble(StrEnum):
    """What goes wrong just now, or has gone wrong and holds the sweep up."""

    SIGHTLINE_LOST = "sightline-lost"
    """The steering is not read: cross sightline or plate."""
    TOO_FAST = "too-fast"
    TURNED_BACK = "not-far-enough"
    """Steered back before the angle that was asked for."""
    NOT_HELD = "not-held"
    """The wheel rolls or the head slips: hold the brake, lock the head, begin again."""
    NOT_CLOSED = "not-closed"
    """Out and back differ: the same, or the steering reads late."""
    REVERSED = "sign"
    SCATTER = "scatter"


@dataclass(frozen=True, slots=True)
class SweepAsked:
    """How a sweep is to be made.

    ``target_rad`` to each side (``outer_rad``, where given, to that on which the wheel is the outer
    one), met within ``near_rad``, which straight ahead is met within, too. What readings give so
    far is worked out at most every ``fit_every_s`` while they come.
    A reading is kept when the steering moved by ``spacing_rad`` since the last one that was, and
    not faster than ``fastest_rad_per_s``: filters delay the channels, and at 5 deg/s a difference
    of 10 ms between them is 0.05 deg of steering (ours to choose). ``toe_rad`` and ``by_plate`` as
    ``Sweep`` has them.
    """

    side: Side
    toe_rad: float = 0.0
    by_plate: bool = False
    target_rad: float = INNER_RAD
    near_rad: float = math.radians(0.5)
    fastest_rad_per_s: float = math.radians(5.0)
    spacing_rad: float = math.radians(0.5)
    outer_rad: float | None = None
    fit_every_s: float = 0.0
    most_rows: int = 400
    noise: SweepNoise | None = None
    limits: SweepLimits = field(default_factory=SweepLimits)

    def __post_init__(self) -> None:
        above = (self.target_rad, self.near_rad, self.fastest_rad_per_s, self.spacing_rad)
        if not (min(above) > 0.0 and self.most_rows >= 16):
            raise ValueError(
                "what is asked of a sweep must be above zero, and 16 rows at the least"
            )

    def enough_rad(self, to: Side) -> float:
        """Return from where on a wheel is steered far enough to a side, rad."""
        outer = self.outer_rad is not None and to is not self.side
        return (self.outer_rad if outer and self.outer_rad else self.target_rad) - self.near_rad


@dataclass(frozen=True, slots=True)
class SweepReading:
    """One settled or filtered reading; ``steer_rad`` None while it cannot be seen."""

    time_ns: int
    steer_rad: float | None
    incl_y_rad: float
    incl_x_rad: float | None = None


@dataclass(frozen=True, slots=True)
class SweepState:
    """Where a sweep stands.

    ``left_rad`` and ``right_rad``: how far it went, both positive. ``kept`` readings stand behind
    ``found``, which is None until they determine the axis.
    """

    steer_rad: float | None
    left_rad: float
    right_rad: float
    needed: tuple[Need, ...]
    troubles: tuple[Trouble, ...]
    kept: int
    found: Steering | None

    @property
    def done(self) -> bool:
        """Whether nothing is needed and nothing is wrong."""
        return not self.needed and not self.troubles

    @property
    def u_caster_rad(self) -> float | None:
        """Standard uncertainty of the caster so far; None while it is not known."""
        if self.found is None or self.found.estimates is None:
            return None
        return self.found.estimates.caster.u
