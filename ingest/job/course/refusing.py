"""What is refused whatever is asked: an empty line, a task that is not the present one."""

from ingest.job.course.acts import Refused
from ingest.job.course.job import Job
from ingest.job.course.tasks import Task


def said(text: str, what: str) -> str:
    """Return a line that a person wrote, of which ``what`` is the name. Raises ``Refused``."""
    if not text.strip():
        raise Refused("bad-field", f"{what} is empty; write one line")
    return text.strip()


def the_current(job: Job, task_id: str) -> Task:
    """Return the current task, if it is the one that is meant. Raises ``Refused``."""
    current = job.current
    if current is None:
        raise Refused("out-of-order", "every task is done; close the job, or go back to one")
    if job.task(task_id) is None:
        raise Refused("bad-field", f"no task {task_id}; the job is at {current.id}")
    if task_id != current.id:
        raise Refused(
            "out-of-order", f"the job is at {current.id}, {current.title}, not at {task_id}"
        )
    return current
