"""How events make a job, one after the other; nothing else does."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from functools import reduce

from ingest.job.course.events import (
    BAY,
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
from ingest.job.course.job import Adjustment, Job, Look, Mark, Phase
from ingest.job.course.tasks import FINDS, SWEEPS, Doing
from ingest.job.vehicle.axles import Wheel
from ingest.job.vehicle.reference import PIN

PREPARES = frozenset({Doing.MOUNT, Doing.TURN, Doing.LOWER, Doing.SETTLE})
"""These ready a set-up for measuring."""
MOVES = PREPARES | {Doing.TIGHTEN}
"""After these the vehicle stands otherwise than before."""


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
            look = Look(event.at, event.by, event.what)
            checks = {**job.checks, item: event.what}
            return replace(job, checks=checks, looks=(*job.looks, look))
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
