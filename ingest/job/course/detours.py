"""Ways out of the order of work: a task left out or done again, or the rest planned anew."""

from ingest.job.course.acts import Back, Facts, Refused, Skip
from ingest.job.course.blocks import needless, touched, unsweepable
from ingest.job.course.due import due, left_unturned
from ingest.job.course.events import Planned, Skipped, WentBack, What
from ingest.job.course.job import Job
from ingest.job.course.refusing import said, the_current
from ingest.job.course.taking import is_out_of_reach
from ingest.job.course.tasks import FINDS, PROVES, Doing
from ingest.job.vehicle.words import named


def skip(job: Job, act: Skip, facts: Facts) -> tuple[What, ...]:
    """Return that the current task is left out, and what falls away with it. Raises ``Refused``."""
    task = the_current(job, act.task)
    reason = said(act.reason, "the reason for leaving a task out")
    known = task.doing is not Doing.RESWEEP or any(topic in job.found for topic in task.topics)
    proves = task.doing in (Doing.TIGHTEN, Doing.RESWEEP, Doing.LEAVE) and known
    turned = job.turning == task.id or (proves and touched(job, task))
    turned |= task.doing is Doing.TIGHTEN and bool(job.loose & set(task.axles))
    if turned and not (task.doing in PROVES and is_out_of_reach(job, task, facts)):
        raise Refused(
            "out-of-order",
            f"something was turned at {named(task.axles)}; tighten and measure it before going on",
        )
    if task.doing is Doing.ADJUST:
        return Skipped(task.id, reason), *needless(job, task)
    if task.doing is Doing.SWEEP:
        return Skipped(task.id, reason), *unsweepable(job, task, reason)
    unknown = due(job, task) if task.doing is Doing.FIND else ()
    return Skipped(task.id, reason), *left_unturned(job, unknown, reason)


def back(job: Job, act: Back) -> WentBack:
    """Return that a task is done again. Raises ``Refused``."""
    task = job.task(act.task)
    if task is None or task.id not in job.marks:
        raise Refused("bad-field", f"{act.task} is no task that is done; there is nothing to redo")
    if task.doing in FINDS and job.was_turned(task.axles):
        raise Refused(
            "out-of-order",
            f"{named(task.axles)} was turned at since; what was found stands for good",
        )
    if job.turning:
        raise Refused("out-of-order", f"{job.turning} is begun; finish it first")
    if job.loose and job.current is not None and job.current.set_up != task.set_up:
        where = named(sorted(job.loose))
        raise Refused("out-of-order", f"something is loose at {where}; tighten it first")
    return WentBack(task.id, act.reason.strip())


def replan(job: Job, cannot: tuple[str, ...], facts: Facts) -> tuple[What, ...]:
    """Return an order of work without what cannot be done. Raises ``Refused``."""
    if job.turning:
        raise Refused("out-of-order", f"{job.turning} is begun; finish it first")
    all_of_it = tuple(dict.fromkeys((*job.cannot, *cannot)))
    plan = facts.plan(job, all_of_it)
    done = tuple(task for task in job.tasks if task.id in job.marks)
    return (Planned((*done, *plan.tasks), all_of_it, plan.mountings),)
