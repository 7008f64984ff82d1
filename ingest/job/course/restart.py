"""What a service that started anew no longer knows of a job's heads: where they sit, and how."""

from collections.abc import Container, Iterator

from ingest.job.course.acts import SIDES, Upset
from ingest.job.course.job import Job
from ingest.job.course.tasks import Doing

REASON = "The service started anew, and a clamp may have moved meanwhile"
TODO = "Say which head is on which wheel, turn those wheels again, let them down and settle them."


def unknown_since(job: Job, compensated: Container[tuple[int, str]]) -> Iterator[Upset]:
    """Yield what is to be put right, wheel by wheel: run-out that was found holds no longer.

    ``compensated``: wheels whose run-out is known. What is said already is not said again.
    """
    said = {(each.axle, each.side) for each in job.upsets if each.todo == TODO}
    for axle in mounted(job):
        for side in SIDES:
            wheel = axle, side
            if wheel not in compensated and wheel not in said:
                yield Upset((), REASON, "run-out", axle, side, TODO)


def mounted(job: Job) -> tuple[int, ...]:
    """Return the axles whose wheels have been turned since heads were put on them."""
    on: set[int] = set()
    for task in job.tasks:
        mark = job.marks.get(task.id)
        if mark is None or mark.skipped:
            continue
        if task.doing is Doing.MOUNT:
            on -= {*task.off, *task.axles}
        if task.doing is Doing.TURN:
            on |= set(task.axles)
    return tuple(sorted(on))
