"""What is asked of a job, and whether it may happen: acts and what the bay knows in, events out.

Nothing here is done: whoever calls commits the events and lets them make the job. An act that may
not happen is refused with the reason and what to do, and the job stands.
"""

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import takewhile

from ingest.job.course.events import (
    Checked,
    Closed,
    Disturbed,
    Done,
    LevelTaken,
    Planned,
    Remarked,
    Skipped,
    Taped,
    Turning,
    WentBack,
    What,
)
from ingest.job.course.intake import BY_ID
from ingest.job.course.job import Job, Phase
from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import FINDS, Doing, Task
from ingest.job.vehicle.words import named

TRUSTED = frozenset({"good", "uncertain"})
OUTSIDE = "outside"
SIDES = ("left", "right")
TAIL = frozenset({Doing.TIGHTEN, Doing.SETTLE, Doing.LEAVE})
"""What follows adjustments."""
NO_LEVEL = LevelTaken("", None, None, "no level record of the bay")


class Refused(Exception):
    """An act may not happen. ``code`` is for programs, the text one line for a person."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


@dataclass(frozen=True, slots=True)
class Plan:
    """The tasks that an order of work comes to, from here on."""

    tasks: tuple[Task, ...]
    mountings: int


@dataclass(frozen=True, slots=True)
class Facts:
    """What the bay knows at the moment of an act.

    ``wheels`` are those that carry a head, as axle and side; ``compensated`` has the run-out that
    each was found to have since its head was mounted. ``readings`` are the results that stand now,
    judged. ``advice`` says, by topic, what is to be turned. ``stale`` tells which topics hold no
    longer once the adjuster of a task is turned. ``plan`` lays the order of work down for what
    cannot be done; raises ``Refused``.
    """

    wheels: frozenset[tuple[int, str]] = frozenset()
    compensated: Mapping[tuple[int, str], RunoutTaken] = field(default_factory=dict)
    readings: Mapping[str, Reading] = field(default_factory=dict)
    advice: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    stale: Callable[[Task], tuple[str, ...]] = lambda task: task.topics
    plan: Callable[[Job, tuple[str, ...]], Plan] = lambda job, cannot: Plan(job.tasks, 0)
    level: LevelTaken = NO_LEVEL


@dataclass(frozen=True, slots=True)
class Check:
    """Say how an item of the intake is."""

    item: str
    state: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Begin:
    """The intake is complete: lay down the order of work."""


@dataclass(frozen=True, slots=True)
class Finish:
    """The task is done. ``task`` is the one that is meant: two displays may be at it at once.

    ``note`` gives the reason where a result outside its limit is left so.
    """

    task: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """Begin to turn the adjuster of a task."""

    task: str


@dataclass(frozen=True, slots=True)
class Skip:
    """Leave a task out."""

    task: str
    reason: str


@dataclass(frozen=True, slots=True)
class Back:
    """Do a task again, and what stands on it."""

    task: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Replan:
    """Lay the order down anew, since something cannot be done."""

    cannot: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Upset:
    """The bay saw that results no longer hold which this job has taken."""

    topics: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class Tape:
    """A tape distance, held against what the network says of it."""

    taped: Taped


@dataclass(frozen=True, slots=True)
class Remark:
    """Write something down."""

    text: str


@dataclass(frozen=True, slots=True)
class Close:
    """Finish the job, or give it up with a reason."""

    give_up: str = ""


Act = Check | Begin | Finish | Turn | Skip | Back | Replan | Upset | Tape | Remark | Close


def decide(job: Job, act: Act, facts: Facts) -> tuple[What, ...]:
    """Return the events that an act comes to. Raises ``Refused``."""
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
        case Upset(topics=topics, reason=reason):
            held = tuple(t for t in topics if t in job.left or t in job.found)
            return (Disturbed(held, reason),) if held else ()
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
            return _skip(job, act)
        case Back():
            return (_back(job, act),)
        case Replan(cannot=cannot):
            return _replan(job, cannot, facts)
    raise AssertionError(act)


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
            return (Done(task.id, _taken(job, task, facts), note=act.note.strip()),)
        case Doing.LEAVE:
            readings = _taken(job, task, facts)
            _accepted(readings, act.note)
            return (Done(task.id, readings, note=act.note.strip()),)
        case Doing.ADJUST:
            if job.turning != task.id:
                return _untouched(job, task, act, facts)
        case Doing.LOWER | Doing.SETTLE | Doing.TIGHTEN:
            pass
    return (Done(task.id, note=act.note.strip()),)


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
    return (*taken, *fresh)


def _accepted(readings: Sequence[Reading], note: str) -> None:
    outside = [reading.topic for reading in readings if reading.decision == OUTSIDE]
    if outside and not note.strip():
        raise Refused(
            "outside",
            f"{outside[0]} is outside its limit; go back and adjust, or give the reason why it"
            " stays so",
        )


def _untouched(job: Job, task: Task, act: Finish, facts: Facts) -> tuple[What, ...]:
    """Finish an adjustment in which nothing was turned: what was found is what is left."""
    found = job.left_of(task.topics[0]) if task.topics else None
    if found is not None and found.decision == OUTSIDE and not act.note.strip():
        raise Refused(
            "outside",
            f"{task.topics[0]} is outside its limit and nothing was turned; adjust it, or give the"
            " reason why it stays so",
        )
    return (Done(task.id, turned=False, note=act.note.strip()), *_needless(job, task))


def _needless(job: Job, task: Task) -> tuple[What, ...]:
    """Return the tasks that fall away where nothing was turned in a block of adjustments."""
    adjusts, tail = block_of(job, task)
    others = [t for t in adjusts if t.id != task.id]
    if any(t.id not in job.marks or _was_turned(job, t) for t in others):
        return ()
    return tuple(
        Skipped(t.id, "nothing was turned: what was found is what is left")
        for t in tail
        if t.id not in job.marks and not set(t.topics) & job.stale
    )


def block_of(job: Job, task: Task) -> tuple[tuple[Task, ...], tuple[Task, ...]]:
    """Return the adjustments that a task belongs to, and what follows them before anything else.

    A block is some adjustments in a row, then tightening, settling and measuring.
    """
    place = job.tasks.index(task)
    first = place
    while first > 0 and job.tasks[first].doing in TAIL:
        first -= 1
    while first > 0 and job.tasks[first - 1].doing is Doing.ADJUST:
        first -= 1
    rest = list(takewhile(lambda t: t.doing is Doing.ADJUST, job.tasks[first:]))
    tail = takewhile(lambda t: t.doing in TAIL, job.tasks[first + len(rest) :])
    return tuple(rest), tuple(tail)


def _was_turned(job: Job, task: Task) -> bool:
    mark = job.marks[task.id]
    return mark.turned and not mark.skipped


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
    advice = tuple(line for topic in task.topics for line in facts.advice.get(topic, ()))
    return (Turning(task.id, advice, facts.stale(task)),)


def _skip(job: Job, act: Skip) -> tuple[What, ...]:
    task = _current(job, act.task)
    reason = _said(act.reason, "the reason for leaving a task out")
    if job.turning == task.id or (
        task.doing in (Doing.TIGHTEN, Doing.LEAVE) and _touched(job, task)
    ):
        raise Refused(
            "out-of-order",
            f"something was turned at {named(task.axles)}; tighten and measure it before going on",
        )
    if task.doing is Doing.ADJUST:
        return Skipped(task.id, reason), *_needless(job, task)
    return (Skipped(task.id, reason),)


def _touched(job: Job, task: Task) -> bool:
    """Say whether anything was turned in the block that a task ends."""
    adjusts, _ = block_of(job, task)
    return any(t.id in job.marks and _was_turned(job, t) for t in adjusts)


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
