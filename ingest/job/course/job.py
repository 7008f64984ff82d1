"""A job as its events have made it: what was found, what is left, which task comes next."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import reduce

from ingest.job.course.events import (
    Checked,
    Closed,
    Disturbed,
    Done,
    Event,
    LevelTaken,
    Opened,
    Planned,
    Remarked,
    Skipped,
    Taped,
    Turning,
    WentBack,
)
from ingest.job.course.intake import ITEMS
from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import FINDS, NEEDLESS, PROVES, SWEEPS, Doing, Task
from ingest.job.vehicle.axles import Wheel
from ingest.job.vehicle.reference import PIN

BAY = "the bay"
"""Who is said to have brought about what the bay saw by itself."""


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
class Adjustment:
    """Something was turned: in which task, after which advice, from when on."""

    task: Task
    advice: tuple[str, ...]
    at: str
    by: str
    fitted_rad: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """One job. Made by ``replayed`` and ``after`` alone; equal events make equal jobs.

    ``found`` and ``left`` are by topic; ``left`` has what was measured as left, and ``left_of``
    also what was never turned. ``stale`` are the topics that hold no longer. ``moved_at`` is when
    the vehicle was last moved or turned at: readings from before it prove nothing.
    """

    opened: Opened
    opened_at: str
    opened_by: str
    phase: Phase = Phase.INTAKE
    checks: Mapping[str, Checked] = field(default_factory=dict)
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


def opened(event: Event) -> Job:
    """Return the job that its first event makes."""
    assert isinstance(event.what, Opened)
    return Job(event.what, event.at, event.by, people=(event.by,), last=event.number)


def replayed(events: Iterable[Event]) -> Job:
    """Return the job that events have made, in their order, the first being ``Opened``."""
    first, *others = events
    return reduce(after, others, opened(first))


def after(job: Job, event: Event) -> Job:
    """Return the job as it is after one more event. Raises ``ValueError`` for a gap."""
    if event.number != job.last + 1:
        raise ValueError(f"event {event.number} does not follow event {job.last}")
    people = job.people if event.by in (*job.people, BAY) else (*job.people, event.by)
    return replace(_after(job, event), last=event.number, people=people)


def _after(job: Job, event: Event) -> Job:
    match event.what:
        case Checked(item=item):
            return replace(job, checks={**job.checks, item: event.what})
        case LevelTaken():
            return replace(job, level=event.what)
        case Planned(tasks=tasks, cannot=cannot):
            return replace(job, phase=Phase.WORK, tasks=tasks, cannot=cannot)
        case Turning():
            return _turning(job, event, event.what)
        case Done():
            return _done(job, event, event.what)
        case Skipped(task=task, reason=reason):
            mark = Mark(event.at, event.by, skipped=reason)
            return replace(job, marks={**job.marks, task: mark}, turning="")
        case WentBack(task=task):
            return _back(job, event, task)
        case Disturbed():
            return _disturbed(job, event, event.what)
        case Taped(line=line):
            untaped = job.untaped - {line}
            return replace(job, tapes=(*job.tapes, event.what), untaped=untaped)
        case Remarked(text=text):
            return replace(job, remarks=(*job.remarks, (event.at, event.by, text)))
        case Closed():
            return replace(job, phase=Phase.OVER, closed=event.what, closed_at=event.at, turning="")
        case Opened():
            raise ValueError("a job is opened once")


def _disturbed(job: Job, event: Event, what: Disturbed) -> Job:
    stale = job.stale | set(what.topics)
    of = (what.lacks, what.axle, what.side)
    others = tuple(each for each in job.upsets if (each.lacks, each.axle, each.side) != of)
    upsets = (*others, what) if what.lacks else job.upsets
    return replace(job, stale=stale, moved_at=event.at, upsets=upsets)


def _turning(job: Job, event: Event, what: Turning) -> Job:
    task = job.task(what.task)
    assert task is not None
    made = Adjustment(task, what.advice, event.at, event.by, what.fitted_rad)
    return replace(
        job,
        turning=task.id,
        loose=job.loose | set(task.axles),
        stale=job.stale | set(what.stale),
        adjustments=(*job.adjustments, made),
        moved_at=event.at,
        untaped=job.untaped | {line for line in job.taped if _to_pin(line, task.axles)},
    )


def _to_pin(line: str, axles: Collection[int]) -> bool:
    """Say whether a tape goes from a pin to a hub of one of these axles."""
    ends = line.split("-")
    return PIN in ends and any(e != PIN and Wheel.named(e).axle in axles for e in ends)


MOVES = frozenset({Doing.MOUNT, Doing.TURN, Doing.LOWER, Doing.SETTLE, Doing.TIGHTEN})
"""After these the vehicle stands otherwise than before."""


def _done(job: Job, event: Event, what: Done) -> Job:
    task = job.task(what.task)
    assert task is not None
    mark = Mark(event.at, event.by, turned=what.turned, note=what.note)
    changed = replace(job, marks={**job.marks, task.id: mark}, turning="")
    if task.doing in SWEEPS:
        changed = replace(changed, moved_at=event.at)
    if task.doing is Doing.MOUNT:
        changed = replace(changed, upsets=())
    if task.doing is Doing.TIGHTEN:
        changed = replace(changed, loose=job.loose - set(task.axles))
    if task.doing in MOVES:
        return replace(changed, moved_at=event.at, runouts=(*job.runouts, *what.runouts))
    if not what.readings:
        return changed
    news = {reading.topic: reading for reading in what.readings}
    changed = replace(changed, stale=job.stale - set(news))
    if task.doing in FINDS:
        return replace(changed, found={**job.found, **news})
    return replace(changed, left={**job.left, **news})


PREPARES = frozenset({Doing.MOUNT, Doing.TURN, Doing.LOWER, Doing.SETTLE})


def _back(job: Job, event: Event, task_id: str) -> Job:
    """Open a task and what stands on it within its set-up; later set-ups mount anew.

    What was found before somebody turned at it stands for good. Of a later set-up what was
    measured stands, too; but its heads are off their wheels by then, so where it has anything
    left to do, its mounting comes first again. A tape to a pin that holds no longer is asked for
    anew: what is measured now may hang on it.
    """
    target = job.task(task_id)
    assert target is not None
    place = job.tasks.index(target)
    reopened = {
        t.id
        for t in job.tasks[place:]
        if t.set_up == target.set_up and not (t.doing in FINDS and job.was_turned(t.axles))
    }
    unfinished = {t.set_up for t in job.tasks if t.id not in job.marks}
    for task in job.tasks[place:]:
        later = task.set_up != target.set_up and task.set_up in unfinished
        if later and task.doing in PREPARES:
            reopened.add(task.id)
    reopened |= {t.id for t in job.tasks if job.untaped & set(t.tapes)}
    marks = {task: mark for task, mark in job.marks.items() if task not in reopened}
    return replace(job, marks=marks, turning="", moved_at=event.at)
