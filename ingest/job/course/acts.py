"""What is asked of a job, and what the bay knows when it is asked. ``deciding`` judges both.

Nothing here is done: whoever calls commits the events and lets them make the job. An act that may
not happen is refused with the reason and what to do, and the job stands.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from ingest.job.course.events import (
    LevelTaken,
    Taped,
)
from ingest.job.course.job import Job
from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import Task

TRUSTED = frozenset({"good", "uncertain"})
INSIDE, OUTSIDE = "inside", "outside"
SIDES = ("left", "right")
NO_LEVEL = LevelTaken("", None, None, "no level record of the bay")


class Refused(Exception):
    """An act may not happen. ``code`` is for programs, the text one line for a person."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


@dataclass(frozen=True, slots=True)
class Plan:
    """The tasks that an order of work comes to, from here on."""

    tasks: tuple[Task, ...]
    mountings: int


@dataclass(frozen=True, slots=True)
class Facts:
    """What the bay knows at the moment of an act.

    ``wheels`` are those that carry a head, as axle and side; ``compensated`` has the run-out that
    each was found to have since its head was mounted. ``readings`` are the results that stand now,
    judged. ``advice`` says, by topic, what is to be turned; ``heed`` what is to be looked into
    before; ``fitted_rad`` which wedges are in once it is done. ``stale`` tells which topics hold no
    longer once the adjuster of a task is turned. ``plan`` lays the order of work down for what
    cannot be done; raises ``Refused``. ``again`` mounts heads for what holds no longer (``held``);
    no tasks where that is of no use.
    """

    wheels: frozenset[tuple[int, str]] = frozenset()
    compensated: Mapping[tuple[int, str], RunoutTaken] = field(default_factory=dict)
    readings: Mapping[str, Reading] = field(default_factory=dict)
    advice: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    heed: tuple[str, ...] = ()
    fitted_rad: tuple[float, ...] = ()
    stale: Callable[[Task], tuple[str, ...]] = lambda task: task.topics
    plan: Callable[[Job, tuple[str, ...]], Plan] = lambda job, cannot: Plan(job.tasks, 0)
    again: Callable[[Job], tuple[Task, ...]] = lambda job: ()
    level: LevelTaken = NO_LEVEL
    hidden: frozenset[tuple[int, str]] = frozenset()
    """Wheels whose head misses a sightline that it had."""
    sweep_lacks: tuple[str, ...] = ()
    """What a sweep of the present task would be refused for if it were begun now, in few words."""


@dataclass(frozen=True, slots=True)
class Check:
    """Say how an item of the intake is."""

    item: str
    state: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Begin:
    """The intake is complete: lay down the order of work."""


@dataclass(frozen=True, slots=True)
class Finish:
    """The task is done. ``task`` is the one that is meant: two displays may be at it at once.

    ``note`` gives the reason where a result outside its limit is left so.
    """

    task: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """Begin to turn the adjuster of a task."""

    task: str


@dataclass(frozen=True, slots=True)
class Skip:
    """Leave a task out."""

    task: str
    reason: str


@dataclass(frozen=True, slots=True)
class Back:
    """Do a task again, and what stands on it."""

    task: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Replan:
    """Lay the order down anew, since something cannot be done."""

    cannot: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Upset:
    """The bay saw something that nobody meant to happen.

    ``topics`` no longer hold, as far as this job has taken them. ``lacks`` names what has to come
    again (head, run-out, sightline) of the head on a wheel, and ``todo`` what to do; such an upset
    is an event even where nothing that was taken is spoilt.
    """

    topics: tuple[str, ...]
    reason: str
    lacks: Literal["", "head", "run-out", "sightline"] = ""
    axle: int = 0
    side: str = ""
    todo: str = ""


@dataclass(frozen=True, slots=True)
class Tape:
    """A tape distance, held against what the network says of it."""

    taped: Taped


@dataclass(frozen=True, slots=True)
class Remark:
    """Write something down."""

    text: str


@dataclass(frozen=True, slots=True)
class Close:
    """Finish the job, or give it up with a reason."""

    give_up: str = ""


Act = Check | Begin | Finish | Turn | Skip | Back | Replan | Upset | Tape | Remark | Close
