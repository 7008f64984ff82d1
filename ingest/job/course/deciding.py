"""Whether an act may happen, and the events that it comes to."""

from collections.abc import Container, Sequence

from ingest.job.course.acts import (
    OUTSIDE,
    SIDES,
    TRUSTED,
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
from ingest.job.course.blocks import needless, still_adjusted, touched, unsweepable, untouched
from ingest.job.course.due import due, left_unturned
from ingest.job.course.events import (
    Checked,
    Closed,
    Disturbed,
    Done,
    Planned,
    Remarked,
    Skipped,
    Turning,
    WentBack,
    What,
)
from ingest.job.course.intake import BY_ID
from ingest.job.course.job import Job, Phase
from ingest.job.course.readings import Reading
from ingest.job.course.tasks import FINDS, PROVES, Doing, Task
from ingest.job.vehicle.words import named


def decide(job: Job, act: Act, facts: Facts) -> tuple[What, ...]:
    """Return the events that an act comes to. Raises ``Refused``."""
    whats = _decided(job, act, facts)
    return (*whats, *still_held(job, whats, facts))


def _decided(job: Job, act: Act, facts: Facts) -> tuple[What, ...]:
    if job.phase is Phase.OVER:
        raise Refused("job-over", "the job is closed; open another one")
    match act:
        case Check():
            return (_check(act),)
        case Begin():
            return _begin(job, facts)
        case Remark(text=text):
            return (Remarked(_said(text, "a remark")),)
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
            return _finish(job, act, facts)
        case Turn():
            return _turn(job, act, facts)
        case Skip():
            return _skip(job, act, facts)
        case Back():
            return (_back(job, act),)
        case Replan(cannot=cannot):
            return _replan(job, cannot, facts)
    raise AssertionError(act)


def _upset(job: Job, act: Upset) -> tuple[What, ...]:
    held = tuple(t for t in act.topics if t in job.left or t in job.found)
    if not held and not act.lacks:
        return ()
    return (Disturbed(held, act.reason, act.lacks, act.axle, act.side, act.todo),)


def _said(text: str, what: str) -> str:
    if not text.strip():
        raise Refused("bad-field", f"{what} is empty; write one line")
    return text.strip()


def _check(act: Check) -> Checked:
    if act.item not in BY_ID:
        raise Refused("bad-field", f"no item {act.item}; there are: {', '.join(BY_ID)}")
    match act.state:
        case "ok" | "absent" | "fault":
            state = act.state
        case _:
            raise Refused("bad-field", f"{act.item} is ok, fault or absent, not {act.state}")
    if state == "fault":
        _said(act.note, f"the note on {act.item}")
    return Checked(act.item, state, act.note.strip())


def _begin(job: Job, facts: Facts) -> tuple[What, ...]:
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


def _current(job: Job, task_id: str) -> Task:
    """Return the current task, if it is the one that is meant."""
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


def _finish(job: Job, act: Finish, facts: Facts) -> tuple[What, ...]:
    task = _current(job, act.task)
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
            readings = _taken(job, task, facts)
            yet = still_adjusted(job)
            _accepted([each for each in readings if each.topic not in yet], act.note)
            return (Done(task.id, readings, note=act.note.strip()),)
        case Doing.ADJUST:
            if job.turning != task.id:
                return untouched(job, task, act)
        case Doing.LOWER | Doing.SETTLE | Doing.TIGHTEN:
            pass
    return (Done(task.id, note=act.note.strip()),)


def _found(job: Job, task: Task, act: Finish, facts: Facts) -> tuple[What, ...]:
    readings, reason = _taken(job, task, facts), act.note.strip()
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


def _taken(job: Job, task: Task, facts: Facts) -> tuple[Reading, ...]:
    """Return what the task measures, if all of it stands, settled since the vehicle moved."""
    taken = []
    for topic in task.topics:
        reading = facts.readings.get(topic)
        if reading is None or reading.quality not in TRUSTED:
            raise Refused("not-settled", f"{topic} is not settled yet; wait, or look at its head")
        if reading.at < job.moved_at:
            raise Refused(
                "not-settled", f"{topic} was last read before the vehicle moved; let it settle"
            )
        taken.append(reading)
    also = (facts.readings.get(topic) for topic in task.also)
    fresh = (r for r in also if r is not None and r.quality in TRUSTED and r.at >= job.moved_at)
    return (*taken, *(r for r in fresh if _is_worth(job, r)))


WORSE = 1.2
"""What is read besides takes the place of what holds only where it is known about as well."""


def _is_worth(job: Job, reading: Reading) -> bool:
    held = job.left_of(reading.topic)
    return held is None or reading.u <= WORSE * held.u


def _accepted(readings: Sequence[Reading], note: str) -> None:
    outside = [reading.topic for reading in readings if reading.decision == OUTSIDE]
    if outside and not note.strip():
        raise Refused(
            "outside",
            f"{outside[0]} is outside its limit; go back and adjust, or give the reason why it"
            " stays so",
        )


def _turn(job: Job, act: Turn, facts: Facts) -> tuple[What, ...]:
    task = _current(job, act.task)
    if task.doing is not Doing.ADJUST:
        raise Refused("out-of-order", f"{task.id} is: {task.title}; nothing is turned in it")
    if job.turning == task.id:
        return ()
    missing = [topic for topic in task.topics if topic not in job.found]
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


def _skip(job: Job, act: Skip, facts: Facts) -> tuple[What, ...]:
    task = _current(job, act.task)
    reason = _said(act.reason, "the reason for leaving a task out")
    known = task.doing is not Doing.RESWEEP or any(topic in job.found for topic in task.topics)
    proves = task.doing in (Doing.TIGHTEN, Doing.RESWEEP, Doing.LEAVE) and known
    turned = job.turning == task.id or (proves and touched(job, task))
    turned |= task.doing is Doing.TIGHTEN and bool(job.loose & set(task.axles))
    if turned and not (task.doing in PROVES and _is_out_of_reach(job, task, facts)):
        raise Refused(
            "out-of-order",
            f"something was turned at {named(task.axles)}; tighten and measure it before going on",
        )
    if task.doing is Doing.ADJUST:
        return Skipped(task.id, reason), *needless(job, task)
    return Skipped(task.id, reason), *unsweepable(job, task, reason)


def _is_out_of_reach(job: Job, task: Task, facts: Facts) -> bool:
    """Say whether a measurement cannot be taken as things are: then a reason must do."""
    try:
        _taken(job, task, facts)
    except Refused:
        return True
    return False


def _back(job: Job, act: Back) -> WentBack:
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


def _replan(job: Job, cannot: tuple[str, ...], facts: Facts) -> tuple[What, ...]:
    if job.turning:
        raise Refused("out-of-order", f"{job.turning} is begun; finish it first")
    all_of_it = tuple(dict.fromkeys((*job.cannot, *cannot)))
    plan = facts.plan(job, all_of_it)
    done = tuple(task for task in job.tasks if task.id in job.marks)
    return (Planned((*done, *plan.tasks), all_of_it, plan.mountings),)


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
