"""The job as it would be after some more events that nobody has committed yet."""

from collections.abc import Sequence
from functools import reduce

from ingest.job.course.events import Event, What
from ingest.job.course.job import Job
from ingest.job.course.making import after


def foreseen(job: Job, whats: Sequence[What]) -> Job:
    """Return the job that these events would make of it; it stays as it is."""
    events = (Event(job.last + n, job.moved_at, "", what) for n, what in enumerate(whats, start=1))
    return reduce(after, events, job)
