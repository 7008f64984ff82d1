"""What is due as found: a later adjustment needs it, and no other measurement before that tells."""

from collections.abc import Collection

from ingest.job.course.blocks import needless
from ingest.job.course.events import Skipped, What
from ingest.job.course.foreseen import foreseen
from ingest.job.course.job import Job
from ingest.job.course.tasks import FINDS, Doing, Task


def due(job: Job, task: Task) -> tuple[str, ...]:
    """Return what a measurement as found is the last to take before somebody turns at it."""
    place = job.tasks.index(task)
    later = job.tasks[place + 1 :]
    return tuple(
        topic
        for topic in (*task.topics, *task.also)
        if topic not in job.found and _is_turned_at_next(job, later, topic)
    )


def _is_turned_at_next(job: Job, later: Collection[Task], topic: str) -> bool:
    """Say whether an adjustment of a topic comes before another measurement of it as found."""
    for task in later:
        if task.id in job.marks:
            continue
        if task.doing in FINDS and topic in (*task.topics, *task.also):
            return False
        if task.doing is Doing.ADJUST and topic in task.topics:
            return True
    return False


def unfound(job: Job, task: Task) -> tuple[str, ...]:
    """Return what an adjustment is about and was not measured as found: it may not be turned."""
    return tuple(topic for topic in task.topics if topic not in job.found)


def left_unturned(job: Job, topics: Collection[str], reason: str) -> tuple[What, ...]:
    """Return the adjustments that fall away where nobody knows how these stood before, and what
    falls away with them."""
    whats: tuple[What, ...] = ()
    for task in job.tasks:
        if task.doing is not Doing.ADJUST or not set(topics) & set(task.topics):
            continue
        then = foreseen(job, whats)
        if task.id not in then.marks:
            skipped = Skipped(task.id, f"not measured as found: {reason}")
            whats = (*whats, skipped, *needless(foreseen(job, (*whats, skipped)), task))
    return whats
