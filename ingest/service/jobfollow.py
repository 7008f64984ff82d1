"""What follows for the bay from what happened in a job."""

from collections.abc import Mapping
from types import MappingProxyType

from ingest.job.course.events import Done, Taped, Turning, What
from ingest.job.course.tasks import Doing
from ingest.service.jobkept import Present
from ingest.service.jobports import BayView

SETTLES: Mapping[Doing, str] = MappingProxyType({Doing.TIGHTEN: "adjusted", Doing.SETTLE: "moving"})
"""What is read before these are over is not what is left, and why: to settle adjusts nothing."""


def follow(present: Present, what: What, view: BayView) -> None:
    """Have the bay know of an event that has made the job what it is now."""
    match what:
        case Taped():
            view.set_out(present.brief.of, present.job.taped)
        case Turning() | Done():
            task = present.job.task(what.task)
            assert task is not None
            if isinstance(what, Turning):
                view.turned(task.axles)
            elif task.doing in SETTLES:
                view.anew(task.axles, SETTLES[task.doing])
