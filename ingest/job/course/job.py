"""A job as its events have made it: what was found, what is left, which task comes next."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from ingest.job.course.events import Checked, Closed, Disturbed, LevelTaken, Opened, Taped
from ingest.job.course.intake import ITEMS
from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import NEEDLESS, PROVES, Task


class Phase(StrEnum):
    """How far a job is."""

    INTAKE = "intake"
    WORK = "work"
    OVER = "over"


@dataclass(frozen=True, slots=True)
class Mark:
    """How a task ended. ``skipped`` is the reason, empty where it was done."""

    at: str
    by: str
    skipped: str = ""
    turned: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """An item of the intake was looked at: when, by whom, how it was."""

    at: str
    by: str
    check: Checked


@dataclass(frozen=True, slots=True)
class Adjustment:
    """Something was turned: in which task, after which advice, from when on."""

    task: Task
    advice: tuple[str, ...]
    at: str
    by: str
    fitted_rad: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """One job. Made by ``making`` alone; equal events make equal jobs.

    ``found`` and ``left`` are by topic; ``left`` has what was measured as left, and ``left_of``
    also what was never turned. ``stale`` are the topics that hold no longer. ``moved_at`` is when
    the vehicle was last moved or turned at: readings from before it prove nothing.
    """

    opened: Opened
    opened_at: str
    opened_by: str
    phase: Phase = Phase.INTAKE
    checks: Mapping[str, Checked] = field(default_factory=dict)
    """How each item of the intake is now."""
    looks: tuple[Look, ...] = ()
    """Every look at an item, in the order in which they came: what was at fault and repaired since
    stays known."""
    level: LevelTaken | None = None
    tasks: tuple[Task, ...] = ()
    cannot: tuple[str, ...] = ()
    marks: Mapping[str, Mark] = field(default_factory=dict)
    found: Mapping[str, Reading] = field(default_factory=dict)
    left: Mapping[str, Reading] = field(default_factory=dict)
    stale: frozenset[str] = frozenset()
    turning: str = ""
    """The task in which something is loosened and not yet done."""
    loose: frozenset[int] = frozenset()
    """Axles at which something was turned and not tightened since, whatever was redone or planned
    anew."""
    adjustments: tuple[Adjustment, ...] = ()
    runouts: tuple[RunoutTaken, ...] = ()
    """Of every mounting, in the order in which they were found."""
    tapes: tuple[Taped, ...] = ()
    untaped: frozenset[str] = frozenset()
    """Lines whose tape holds no longer: something was turned at a hub that was taped to a pin."""
    remarks: tuple[tuple[str, str, str], ...] = ()
    """When, by whom, what."""
    closed: Closed | None = None
    closed_at: str = ""
    people: tuple[str, ...] = ()
    """Who did anything, in the order in which they came."""
    moved_at: str = ""
    upsets: tuple[Disturbed, ...] = ()
    """What the bay saw happen to heads since they were mounted, the newest of each kind last."""
    last: int = 1
    """Number of the newest event."""

    @property
    def current(self) -> Task | None:
        """The task that comes next; None before the work begins and when all is done."""
        if self.phase is not Phase.WORK:
            return None
        return next((task for task in self.tasks if task.id not in self.marks), None)

    def task(self, task_id: str) -> Task | None:
        """Return a task by its id."""
        return next((task for task in self.tasks if task.id == task_id), None)

    @property
    def unchecked(self) -> tuple[str, ...]:
        """Ids of the intake's items that nobody has looked at."""
        return tuple(item.id for item in ITEMS if item.id not in self.checks)

    @property
    def faults(self) -> tuple[Checked, ...]:
        """What the intake found wrong."""
        return tuple(each for each in self.checks.values() if each.state == "fault")

    @property
    def held(self) -> tuple[str, ...]:
        """Topics that hold no longer, and nobody gave a reason why they are not measured again:
        the job cannot be finished with them."""
        known = self.stale & {*self.found, *self.left}
        return tuple(sorted(known - set(self.unread)))

    @property
    def unread(self) -> Mapping[str, str]:
        """Topics that hold no longer, and the reason why they were not measured again."""
        reasons: dict[str, str] = {}
        for task in self.tasks:
            mark = self.marks.get(task.id)
            if task.doing not in PROVES or mark is None or mark.skipped == NEEDLESS:
                continue
            for topic in (*task.topics, *task.also):
                if mark.skipped:
                    reasons[topic] = mark.skipped
                else:
                    reasons.pop(topic, None)
        return {topic: why for topic, why in reasons.items() if topic in self.stale}

    @property
    def taped(self) -> dict[str, Taped]:
        """The newest tape distance of each line, of those that hold."""
        return {each.line: each for each in self.tapes if each.line not in self.untaped}

    def known_of(self, topic: str) -> Reading | None:
        """Return what was read of a topic last, before anything that is being turned now."""
        last = self.left.get(topic) or self.found.get(topic)
        task = self.task(self.turning)
        turning = task is not None and topic in task.topics
        return last if turning or topic not in self.stale else None

    def fitted_rad(self, axle: int) -> tuple[float, ...]:
        """Return the wedges that were fitted last to an axle; none where none ever were."""
        fitted = [
            a.fitted_rad for a in self.adjustments if a.task.axles == (axle,) and a.fitted_rad
        ]
        return fitted[-1] if fitted else ()

    def was_turned(self, axles: Iterable[int]) -> bool:
        """Say whether anything was turned at one of these axles."""
        return any(set(axles) & set(each.task.axles) for each in self.adjustments)

    def left_of(self, topic: str) -> Reading | None:
        """Return what is left: as measured, or as found where that holds still."""
        if topic in self.stale:
            return None
        return self.left.get(topic) or self.found.get(topic)
