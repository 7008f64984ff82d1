"""What holds no longer when every task is done: it is measured again, or left with a reason."""

from collections.abc import Sequence

from ingest.job.course.acts import Facts
from ingest.job.course.events import Planned, What
from ingest.job.course.foreseen import foreseen
from ingest.job.course.job import Job, Phase
from ingest.job.course.tasks import Doing, Task

HEADS_STAY = "something was moved after it was measured; read it with heads where they are"


def still_held(job: Job, whats: Sequence[What], facts: Facts) -> tuple[What, ...]:
    """Return the tasks that are to be added to a job once its last one is over; often none."""
    if not whats:
        return ()
    then = foreseen(job, whats)
    if then.phase is not Phase.WORK or then.current is not None or not then.held:
        return ()
    tasks = facts.again(then) or (_where_heads_are(then),)
    set_ups = {task.set_up for task in tasks if task.doing is Doing.MOUNT}
    return (Planned((*then.tasks, *tasks), then.cannot, len(set_ups)),)


def _where_heads_are(job: Job) -> Task:
    """Return a measurement that no mounting goes before."""
    set_up = max((task.set_up for task in job.tasks), default=0) + 1
    parts = (topic.split("/") for topic in job.held)
    axles = {int(number) for where, number, *_ in parts if where == "axle"}
    return Task(
        f"s{set_up}-1",
        Doing.LEAVE,
        set_up,
        tuple(sorted(axles)) or job.tasks[-1].axles,
        job.held,
        why=HEADS_STAY,
    )
