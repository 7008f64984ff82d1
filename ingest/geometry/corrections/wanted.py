"""What a correction is asked for, and what it answers, whatever the adjuster is.

Lengths in metres, angles in radians, signs as in ``ingest.core.frames``.
"""

from dataclasses import dataclass
from enum import StrEnum

from calibration.measured import Measured
from calibration.reporting import coverage_factor
from ingest.core.frames import Side

ROUNDING = 1e-9
LEAVE = "leave"
"""The action of a step that leaves its part as it is."""


class Quantity(StrEnum):
    """What is corrected."""

    AXLE_HEADING = "axle_heading"
    LATERAL_OFFSET = "lateral_offset"
    TOTAL_TOE = "total_toe"
    STEERING_WHEEL = "steering_wheel"
    """Angle of the steering wheel while the road wheels point straight ahead; left positive."""
    STEER_PARALLELISM = "steer_parallelism"
    """Heading of the second steer axle's wheels less that of the first's."""
    LOCK_ANGLE = "lock_angle"
    """How far a wheel can be steered to its stop, counted up from straight ahead."""
    CASTER = "caster"
    CAMBER = "camber"


@dataclass(frozen=True, slots=True)
class Wanted:
    """A measured value and where it should be; ``side`` where it is that of one wheel."""

    quantity: Quantity
    axle: int
    measured: Measured
    target: float
    side: Side | None = None

    @property
    def change(self) -> float:
        """What has to be added to the value."""
        return self.target - self.measured.value

    @property
    def expanded_u(self) -> float:
        """Expanded uncertainty U of the measured value."""
        return coverage_factor(self.measured.dof) * self.measured.u

    @property
    def told_apart(self) -> bool:
        """Whether the measurement can tell the value from the target at all."""
        return self.beyond_doubt(self.change)

    def beyond_doubt(self, difference: float) -> bool:
        """Whether a difference is more than U; one that equals it but for rounding is not."""
        return abs(difference) > self.expanded_u * (1.0 + ROUNDING)

    def changed(self, by: float) -> "Outcome":
        """Return what is to be expected of the value when it is changed by so much."""
        return Outcome(self, self.measured.value + by)


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. ``text`` says it to a technician, the figures say it to programs.

    ``length_m`` is the exact change of length (of a pin or eccentric how far forward its end of
    the axle goes), ``turn_rad`` the exact turn that makes it, ``set_turn_rad`` the turn that the
    text asks for; of a wedge both are its angle, thick end to the rear positive.
    ``thicknesses_m`` is the whole pack as it must be in the end, where there is a pack.
    """

    part: str
    action: str
    text: str
    side: Side | None = None
    length_m: float | None = None
    turn_rad: float | None = None
    set_turn_rad: float | None = None
    thicknesses_m: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is to be expected of one value when all steps are done as they are written."""

    wanted: Wanted
    expected: float

    @property
    def remaining(self) -> Measured:
        """The error that remains, expected less target; as uncertain as the measurement."""
        measured = self.wanted.measured
        return Measured(self.expected - self.wanted.target, measured.parts, measured.stands_on)


@dataclass(frozen=True, slots=True)
class Correction:
    """The steps, what they should bring, what else they change.

    ``beyond`` (what is fitted and breaks a limit of the maker, so that it must come out),
    ``before`` (what to look into first) and ``also`` are sentences for a technician.
    ``adjustable`` is false where nothing may be turned.
    """

    steps: tuple[Step, ...]
    outcomes: tuple[Outcome, ...]
    also: tuple[str, ...] = ()
    adjustable: bool = True
    before: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()

    @property
    def changes(self) -> bool:
        """Whether any step changes anything."""
        return self.adjustable and any(step.action != LEAVE for step in self.steps)

    @property
    def worth_doing(self) -> bool:
        """Whether there is something to turn that must come out, or a value that differs by more
        than its U and gets no worse."""
        told_apart = any(outcome.wanted.told_apart for outcome in self.outcomes)
        return self.adjustable and (bool(self.beyond) or (told_apart and not self.worsens))

    @property
    def error(self) -> float:
        """The largest error now."""
        return max(abs(outcome.wanted.change) for outcome in self.outcomes)

    @property
    def worst_remaining(self) -> float:
        """The largest error that remains."""
        return max(abs(outcome.remaining.value) for outcome in self.outcomes)

    @property
    def worsens(self) -> bool:
        """Whether a larger error remains than there is now."""
        return self.worst_remaining > self.error + ROUNDING
