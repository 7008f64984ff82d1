"""Requests of the job, as acts: what a display asks, in the job's own words."""

from ingest.job.course.acts import (
    Act,
    Back,
    Begin,
    Check,
    Close,
    Finish,
    Refused,
    Remark,
    Replan,
    Skip,
    Turn,
)
from ingest.payload.job_cmd import (
    JobAdjust,
    JobBack,
    JobBegin,
    JobCheck,
    JobClose,
    JobCommand,
    JobDone,
    JobRemark,
    JobReplan,
    JobSkip,
)


def act_of(command: JobCommand) -> Act:
    """Return what is asked of a job that is open. Raises ``Refused`` for what is none of these."""
    match command:
        case JobCheck(item=item, state=state, note=note):
            return Check(item, state, note)
        case JobBegin():
            return Begin()
        case JobDone(task=task, note=note):
            return Finish(task, note)
        case JobAdjust(task=task):
            return Turn(task)
        case JobSkip(task=task, reason=reason):
            return Skip(task, reason)
        case JobBack(task=task, reason=reason):
            return Back(task, reason)
        case JobReplan(cannot=cannot):
            return Replan((cannot,))
        case JobRemark(text=text):
            return Remark(text)
        case JobClose(give_up=give_up):
            return Close(give_up)
    raise Refused("not-supported", "that cannot be asked of a job")
