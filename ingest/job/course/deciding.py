"""Whether an act may happen, and the events that it comes to."""

from ingest.job.course.acts import (
    Act,
    Back,
    Begin,
    Check,
    Close,
    Facts,
    Finish,
    Refused,
    Remark,
    Replan,
    Skip,
    Tape,
    Turn,
    Upset,
)
from ingest.job.course.again import still_held
from ingest.job.course.beginning import begin, check
from ingest.job.course.detours import back, replan, skip
from ingest.job.course.events import Closed, Disturbed, Remarked, What
from ingest.job.course.finishing import finish
from ingest.job.course.job import Job, Phase
from ingest.job.course.refusing import said
from ingest.job.course.turning import turn


def decide(job: Job, act: Act, facts: Facts) -> tuple[What, ...]:
    """Return the events that an act comes to. Raises ``Refused``."""
    whats = _decided(job, act, facts)
    return (*whats, *still_held(job, whats, facts))


def _decided(job: Job, act: Act, facts: Facts) -> tuple[What, ...]:
    if job.phase is Phase.OVER:
        raise Refused("job-over", "the job is closed; open another one")
    match act:
        case Check():
            return (check(act),)
        case Begin():
            return begin(job, facts)
        case Remark(text=text):
            return (Remarked(said(text, "a remark")),)
        case Close():
            return (_close(job, act),)
        case Upset():
            return _upset(job, act)
        case Tape(taped=taped):
            return (taped,)
    if job.phase is not Phase.WORK:
        raise Refused("not-begun", "the intake comes first; then ask to begin")
    match act:
        case Finish():
            return finish(job, act, facts)
        case Turn():
            return turn(job, act, facts)
        case Skip():
            return skip(job, act, facts)
        case Back():
            return (back(job, act),)
        case Replan(cannot=cannot):
            return replan(job, cannot, facts)
    raise AssertionError(act)


def _upset(job: Job, act: Upset) -> tuple[What, ...]:
    held = tuple(t for t in act.topics if t in job.left or t in job.found)
    if not held and not act.lacks:
        return ()
    return (Disturbed(held, act.reason, act.lacks, act.axle, act.side, act.todo),)


def _close(job: Job, act: Close) -> Closed:
    if act.give_up.strip():
        return Closed(False, act.give_up.strip())
    current = job.current
    if job.phase is not Phase.WORK:
        raise Refused("not-begun", "nothing was measured; give the job up with a reason")
    if current is not None:
        raise Refused("out-of-order", f"still to do: {current.id}, {current.title}")
    held = job.held
    if held:
        raise Refused(
            "stale", f"{held[0]} holds no longer; go back and measure it, or give the job up"
        )
    return Closed(True)
