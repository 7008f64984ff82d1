"""The intake: how its items are, and whether the work may begin."""

from ingest.job.course.acts import Check, Facts, Refused
from ingest.job.course.events import Checked, Planned, What
from ingest.job.course.intake import BY_ID
from ingest.job.course.job import Job, Phase
from ingest.job.course.refusing import said


def check(act: Check) -> Checked:
    """Return how an item is. Raises ``Refused``."""
    if act.item not in BY_ID:
        raise Refused("bad-field", f"no item {act.item}; there are: {', '.join(BY_ID)}")
    match act.state:
        case "ok" | "absent" | "fault":
            state = act.state
        case _:
            raise Refused("bad-field", f"{act.item} is ok, fault or absent, not {act.state}")
    if state == "fault":
        said(act.note, f"the note on {act.item}")
    return Checked(act.item, state, act.note.strip())


def begin(job: Job, facts: Facts) -> tuple[What, ...]:
    """Return the level of the bay and the order of work. Raises ``Refused``."""
    if job.phase is Phase.WORK:
        raise Refused("out-of-order", "the work has begun already")
    if job.unchecked:
        raise Refused("intake", f"not looked at yet: {', '.join(job.unchecked)}")
    if job.faults:
        first = job.faults[0]
        item = BY_ID[first.item]
        todo = "repair it, have it checked again" if item.loose else "set it right"
        raise Refused(
            "intake", f"{item.title}: {first.note}; {todo}, then say that {item.id} is ok"
        )
    plan = facts.plan(job, job.cannot)
    return facts.level, Planned(plan.tasks, job.cannot, plan.mountings)
