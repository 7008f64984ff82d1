"""The tasks that a job is made of: each is one thing that a technician does, then says so."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from ingest.job.vehicle.words import named


class Doing(StrEnum):
    """What a task asks for."""

    MOUNT = "mount"
    """Heads onto the wheels of these axles."""
    TAPE = "tape"
    """Distances that no sightline tells, by tape."""
    TURN = "turn"
    """Compensate every head that was mounted anew."""
    LOWER = "lower"
    """The axles down, onto their plates."""
    SWEEP = "sweep"
    """Steer an axle's wheels to both sides, for caster and what goes with it, as found."""
    SETTLE = "settle"
    """Suspension and tyres at rest in their running position, by rolling or by jouncing."""
    FIND = "find"
    """Measure as found."""
    ADJUST = "adjust"
    """Bring one quantity home, live."""
    TIGHTEN = "tighten"
    """What was loosened, to the vehicle maker's torque."""
    RESWEEP = "resweep"
    """Steer once more, for what a sweep alone can tell, as left."""
    LEAVE = "leave"
    """Measure as left."""


FINDS = frozenset({Doing.FIND, Doing.SWEEP})
"""What these measure is as found, and stands for good once something was turned."""

SWEEPS = frozenset({Doing.SWEEP, Doing.RESWEEP})
"""In these the wheels are steered."""

PROVES = frozenset({Doing.RESWEEP, Doing.LEAVE})
"""What these measure is as left."""

BY_SWEEP = frozenset({"caster", "lock_angle"})
"""What ADJUST may turn that no head shows while it is turned: a sweep tells it afterwards."""


NEEDLESS = "nothing was turned: what was found is what is left"
"""Why a task falls away by itself."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do.

    ``set_up`` counts the mountings from 1. ``axles`` are those that it is about; of MOUNT those
    that carry heads from then on. ``topics`` (below the bay) are what FIND and LEAVE and the sweeps
    measure, and for ADJUST the results that it is about: one that is watched, or what a sweep told
    of each side; ``also`` is taken where it is known. ``tapes`` are the distances that TAPE asks
    for (``P-L3``). ``quantity`` names what ADJUST turns, in the words of the corrections; of sweeps
    it is ``lock_angle`` where they go to the stops. ``why`` is the plan's reason. ``off`` are the
    axles whose heads come off for MOUNT.
    """

    id: str
    doing: Doing
    set_up: int
    axles: tuple[int, ...]
    topics: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    tapes: tuple[str, ...] = ()
    quantity: str = ""
    why: str = ""
    off: tuple[int, ...] = ()

    @property
    def is_seen(self) -> bool:
        """Whether heads show what ADJUST turns while it is turned."""
        return self.quantity not in BY_SWEEP

    @property
    def to_stops(self) -> bool:
        """Whether it sweeps the steering to its stops."""
        return self.doing in SWEEPS and self.quantity == "lock_angle"

    @property
    def title(self) -> str:
        """Name the task for people."""
        where = named(self.axles)
        match self.doing:
            case Doing.MOUNT:
                return f"mount heads on {where}"
            case Doing.TAPE:
                return f"measure by tape at {where}"
            case Doing.TURN:
                return f"turn the wheels of {where}"
            case Doing.LOWER:
                return f"let {where} down"
            case Doing.SWEEP:
                return f"sweep the steering of {where}"
            case Doing.SETTLE:
                return f"settle {where}"
            case Doing.FIND:
                return f"measure {where} as found"
            case Doing.ADJUST:
                return f"adjust {self.quantity.replace('_', ' ')} of {where}"
            case Doing.TIGHTEN:
                return f"tighten {where}"
            case Doing.RESWEEP:
                return f"sweep the steering of {where} again"
            case Doing.LEAVE:
                return f"measure {where} as left"


def mountings_of(tasks: Iterable[Task]) -> int:
    """Return how often a pair of heads is put on an axle in all."""
    count, on = 0, frozenset[int]()
    for task in tasks:
        if task.doing is Doing.MOUNT:
            count += len(set(task.axles) - (on - set(task.off)))
            on = frozenset(task.axles)
    return count
