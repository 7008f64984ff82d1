"""Adjustments in a row with what ends them: tightening, settling, measuring as left."""

from itertools import takewhile

from ingest.job.course.acts import INSIDE, OUTSIDE, Facts, Finish, Refused
from ingest.job.course.events import Done, Skipped, What
from ingest.job.course.job import Job
from ingest.job.course.tasks import NEEDLESS, Doing, Task

TAIL = frozenset({Doing.TIGHTEN, Doing.SETTLE, Doing.RESWEEP, Doing.LEAVE})
"""What follows adjustments."""


def untouched(job: Job, task: Task, act: Finish, facts: Facts) -> tuple[What, ...]:
    """Finish an adjustment in which nothing was turned: what was found is what is left.

    With a reason, where a result is outside its limit, or not inside of one and there is something
    to turn.
    """
    for topic in task.topics:
        why = _why_not(job, topic, facts)
        if why and not act.note.strip():
            raise Refused(
                "outside",
                f"{topic} {why}, and nothing was turned; adjust it, or give the reason why it stays"
                " so",
            )
    return (Done(task.id, turned=False, note=act.note.strip()), *needless(job, task))


def _why_not(job: Job, topic: str, facts: Facts) -> str:
    """Say why a result cannot be left as it is without a reason; "" where it can.

    What somebody else's turning has made stale is measured again anyhow.
    """
    if topic in job.stale:
        return ""
    found = job.left_of(topic)
    if found is None:
        return "was not measured"
    if found.decision == OUTSIDE:
        return "is outside its limit"
    advised = found.decision != INSIDE and bool(facts.advice.get(topic))
    return "is not where it should be" if advised else ""


def needless(job: Job, task: Task) -> tuple[What, ...]:
    """Return the tasks that fall away where nothing was turned in a block of adjustments."""
    adjusts, tail = block_of(job, task)
    others = [t for t in adjusts if t.id != task.id]
    if any(t.id not in job.marks or was_turned(job, t) for t in others):
        return ()
    if any(job.loose & set(t.axles) for t in tail if t.doing is Doing.TIGHTEN):
        return ()  # it was turned before this was redone
    # What was turned at another axle may have made one of their results stale: that is read anew.
    about = {topic for each in adjusts for topic in each.topics}
    return tuple(
        Skipped(t.id, NEEDLESS)
        for t in tail
        if t.id not in job.marks
        and not (set(t.topics) | ({*about, *t.also} if t.doing is Doing.LEAVE else set()))
        & job.stale
    )


def unsweepable(job: Job, task: Task, reason: str) -> tuple[What, ...]:
    """Return the tasks that fall away where a sweep as found is left out: what it alone can tell
    is neither adjusted nor swept again."""
    if task.doing is not Doing.SWEEP:
        return ()
    gone: dict[str, str] = {}
    for other in job.tasks:
        if other.axles != task.axles or other.id in job.marks:
            continue
        if other.doing is Doing.RESWEEP:
            gone[other.id] = f"no sweep as found: {reason}"
        if other.doing is Doing.ADJUST and not other.is_seen:
            adjusts, tail = block_of(job, other)
            alone = adjusts == (other,)
            own = [t.id for t in tail if alone and t.doing is not Doing.LEAVE]
            own = [each for each in own if each not in job.marks]
            own = [] if job.loose & set(other.axles) else own
            gone |= dict.fromkeys((other.id, *own), f"no sweep as found: {reason}")
    return tuple(Skipped(each, why) for each, why in gone.items())


def still_adjusted(job: Job) -> frozenset[str]:
    """Return the topics of adjustments that are still to come."""
    open_yet = (t for t in job.tasks if t.doing is Doing.ADJUST and t.id not in job.marks)
    return frozenset(topic for task in open_yet for topic in task.topics)


def block_of(job: Job, task: Task) -> tuple[tuple[Task, ...], tuple[Task, ...]]:
    """Return the adjustments that a task belongs to, and what follows them before anything else.

    A block is some adjustments in a row, then tightening, settling and measuring. What follows a
    measurement as left belongs to no adjustment before it.
    """
    place = job.tasks.index(task)
    first = place
    while first > 0 and job.tasks[first].doing in TAIL:
        first -= 1
        if job.tasks[first].doing is Doing.LEAVE:
            return (), (task,)
    while first > 0 and job.tasks[first - 1].doing is Doing.ADJUST:
        first -= 1
    rest = list(takewhile(lambda t: t.doing is Doing.ADJUST, job.tasks[first:]))
    tail = takewhile(lambda t: t.doing in TAIL, job.tasks[first + len(rest) :])
    return tuple(rest), tuple(tail)


def touched(job: Job, task: Task) -> bool:
    """Say whether anything was turned in the block that a task ends."""
    adjusts, _ = block_of(job, task)
    return any(t.id in job.marks and was_turned(job, t) for t in adjusts)


def was_turned(job: Job, task: Task) -> bool:
    """Say whether anything was turned in an adjustment that is over."""
    mark = job.marks[task.id]
    return mark.turned and not mark.skipped
