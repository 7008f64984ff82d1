"""What a display may ask of the job. Each names the task that it means: others may be at it too."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field

from ingest.payload.base import Count, Level
from ingest.payload.command import Command

Line = Annotated[str, Field(max_length=200)]
TaskId = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")]


class JobCommand(Command):
    """A request of the job. ``by`` names the person: it stands in the report."""

    job: Level | None = None
    """Which job is meant; a request of another one is refused. Left out: the present one."""


class JobOpen(JobCommand):
    """``cmd/job-open``: begin a job; the last one's results are cleared."""

    vehicle: Level
    """Id of a vehicle in the store."""
    limits: Level
    """Name of a limit set in the store."""
    order: str = Field(min_length=1, max_length=40)
    odometer: str = Field(default="", max_length=24, pattern=r"^ *([^- ]|$)")
    """As it is read, in the unit that it has; nothing below zero."""
    load: Literal["unladen", "laden"] = "unladen"
    """Which limits are taken. They know these two: of a vehicle that is laden in part take the one
    that its maker's figures hold for, and say how it is laden in ``remark``."""
    pairs: int = Field(default=2, ge=1, le=8)
    """Pairs of heads at hand."""
    remark: Line = ""


class JobCheck(JobCommand):
    """``cmd/job-check``: how an item of the intake is."""

    item: Level
    state: Literal["ok", "fault", "absent"]
    note: Line = ""


class JobBegin(JobCommand):
    """``cmd/job-begin``: the intake is complete; lay down the order of work."""


class TaskCommand(JobCommand):
    """A request about one task."""

    task: TaskId


class JobDone(TaskCommand):
    """``cmd/job-done``: the task is done; a task that measures takes what is settled."""

    note: Line = ""


class JobAdjust(TaskCommand):
    """``cmd/job-adjust``: something is about to be turned."""


class JobSkip(TaskCommand):
    """``cmd/job-skip``: leave the task out."""

    reason: Line


class JobBack(TaskCommand):
    """``cmd/job-back``: do a task again, and what stands on it."""

    reason: Line = ""


class JobReplan(JobCommand):
    """``cmd/job-replan``: something cannot be done; lay the order down anew."""

    cannot: Line
    """What cannot be done: ``adjust 4`` (axle 4 cannot be set), ``line L1-L2`` (blocked), or
    ``pairs 1`` (pairs of heads left)."""


class JobTape(JobCommand):
    """``cmd/job-tape``: a distance between two hubs, by tape."""

    line: Annotated[str, Field(pattern=r"^(P|[LR]\d{1,2})-[LR]\d{1,2}$")]
    """From hub to hub or from the pin, by the names of the wheels: ``L1-L4``, ``P-R3``."""
    metres: float = Field(gt=0, le=40)
    u_mm: float = Field(default=1.0, gt=0, le=50)


class JobRemark(JobCommand):
    """``cmd/job-remark``: write something down."""

    text: Line


class JobClose(JobCommand):
    """``cmd/job-close``: the job is finished, or given up with a reason."""

    give_up: Line = ""


class JobEvents(JobCommand):
    """``cmd/job-events``: say again on ``evt/job`` what happened after an event."""

    since: Count = 0


JOB_COMMANDS: Mapping[str, type[JobCommand]] = MappingProxyType(
    {
        "job-open": JobOpen,
        "job-check": JobCheck,
        "job-begin": JobBegin,
        "job-done": JobDone,
        "job-adjust": JobAdjust,
        "job-skip": JobSkip,
        "job-back": JobBack,
        "job-replan": JobReplan,
        "job-tape": JobTape,
        "job-remark": JobRemark,
        "job-close": JobClose,
        "job-events": JobEvents,
    }
)
