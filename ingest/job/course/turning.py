"""Whether something may be turned: only what was measured as found, and holds."""

from ingest.job.course.acts import Facts, Refused, Turn
from ingest.job.course.due import unfound
from ingest.job.course.events import Turning, What
from ingest.job.course.job import Job
from ingest.job.course.refusing import the_current
from ingest.job.course.tasks import Doing


def turn(job: Job, act: Turn, facts: Facts) -> tuple[What, ...]:
    """Return that an adjuster is being turned, after which advice. Raises ``Refused``."""
    task = the_current(job, act.task)
    if task.doing is not Doing.ADJUST:
        raise Refused("out-of-order", f"{task.id} is: {task.title}; nothing is turned in it")
    if job.turning == task.id:
        return ()
    missing = unfound(job, task)
    if missing:
        raise Refused(
            "not-found",
            f"{missing[0]} was not measured as found; go back and measure it before it is touched",
        )
    gone = [topic for topic in task.topics if job.known_of(topic) is None]
    if gone and not task.is_seen:
        raise Refused(
            "stale",
            f"{gone[0]} holds no longer, and only a sweep can tell it; sweep before it is turned",
        )
    advice = tuple(line for topic in task.topics for line in facts.advice.get(topic, ()))
    return (Turning(task.id, advice, facts.stale(task), facts.fitted_rad),)
