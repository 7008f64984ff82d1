"""Whether a task is done, and what is taken with it."""

from collections.abc import Container, Sequence

from ingest.job.course.acts import OUTSIDE, SIDES, Facts, Finish, Refused
from ingest.job.course.blocks import still_adjusted, untouched
from ingest.job.course.due import due, left_unturned
from ingest.job.course.events import Done, What
from ingest.job.course.job import Job
from ingest.job.course.readings import Reading
from ingest.job.course.refusing import the_current
from ingest.job.course.taking import taken
from ingest.job.course.tasks import Doing, Task


def finish(job: Job, act: Finish, facts: Facts) -> tuple[What, ...]:
    """Return that the current task is done, with what it found. Raises ``Refused``."""
    task = the_current(job, act.task)
    match task.doing:
        case Doing.MOUNT:
            _all_wheels(task, facts.wheels, "no head on", "mount one and say where it is")
        case Doing.TURN:
            _all_wheels(task, facts.compensated, "no run-out of", "turn that wheel")
            found = tuple(facts.compensated[axle, side] for axle in task.axles for side in SIDES)
            return (Done(task.id, note=act.note.strip(), runouts=found),)
        case Doing.TAPE:
            missing = [line for line in task.tapes if line not in job.taped]
            if missing:
                raise Refused("not-ready", f"{missing[0]} is not measured yet; enter it")
        case Doing.FIND | Doing.SWEEP:
            return _found(job, task, act, facts)
        case Doing.RESWEEP | Doing.LEAVE:
            readings = taken(job, task, facts)
            yet = still_adjusted(job)
            _accepted([each for each in readings if each.topic not in yet], act.note)
            return (Done(task.id, readings, note=act.note.strip()),)
        case Doing.ADJUST:
            if job.turning != task.id:
                return untouched(job, task, act, facts)
        case Doing.LOWER | Doing.SETTLE | Doing.TIGHTEN:
            pass
    return (Done(task.id, note=act.note.strip()),)


def _found(job: Job, task: Task, act: Finish, facts: Facts) -> tuple[What, ...]:
    readings, reason = taken(job, task, facts), act.note.strip()
    missing = set(due(job, task)) - {reading.topic for reading in readings}
    if missing and not reason:
        raise Refused(
            "not-found",
            f"{min(missing)} is to be adjusted later, and is not settled yet; wait, look at its"
            " heads and sightlines, or give the reason why it is left as it is",
        )
    return Done(task.id, readings, note=reason), *left_unturned(job, missing, reason)


def _all_wheels(task: Task, there: Container[tuple[int, str]], lacks: str, todo: str) -> None:
    for axle in task.axles:
        for side in SIDES:
            if (axle, side) not in there:
                raise Refused("not-ready", f"{lacks} axle {axle} {side}; {todo}")


def _accepted(readings: Sequence[Reading], note: str) -> None:
    outside = [reading.topic for reading in readings if reading.decision == OUTSIDE]
    if outside and not note.strip():
        raise Refused(
            "outside",
            f"{outside[0]} is outside its limit; go back and adjust, or give the reason why it"
            " stays so",
        )
