"""What a task measures, taken as it stands: settled, and read since the vehicle moved."""

from ingest.job.course.acts import TRUSTED, Facts, Refused
from ingest.job.course.job import Job
from ingest.job.course.readings import Reading
from ingest.job.course.tasks import Task

WORSE = 1.2
"""What is read besides takes the place of what holds only where it is known about as well."""


def taken(job: Job, task: Task, facts: Facts) -> tuple[Reading, ...]:
    """Return what the task measures, if all of it stands, settled since the vehicle moved.

    Raises ``Refused``.
    """
    found = []
    for topic in task.topics:
        reading = facts.readings.get(topic)
        if reading is None or reading.quality not in TRUSTED:
            raise Refused("not-settled", f"{topic} is not settled yet; wait, or look at its head")
        if reading.at < job.moved_at:
            raise Refused(
                "not-settled", f"{topic} was last read before the vehicle moved; let it settle"
            )
        found.append(reading)
    also = (facts.readings.get(topic) for topic in task.also)
    fresh = (r for r in also if r is not None and r.quality in TRUSTED and r.at >= job.moved_at)
    return (*found, *(r for r in fresh if _is_worth(job, r)))


def is_out_of_reach(job: Job, task: Task, facts: Facts) -> bool:
    """Say whether a measurement cannot be taken as things are: then a reason must do."""
    try:
        taken(job, task, facts)
    except Refused:
        return True
    return False


def _is_worth(job: Job, reading: Reading) -> bool:
    held = job.left_of(reading.topic)
    return held is None or reading.u <= WORSE * held.u
