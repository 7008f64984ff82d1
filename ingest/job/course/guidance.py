"""What to do now, in words: the present task, why, what is still lacking, what can be asked."""

from collections.abc import Container, Iterable
from dataclasses import dataclass

from ingest.job.course.acts import SIDES, TRUSTED, Facts
from ingest.job.course.blocks import block_of, touched
from ingest.job.course.cautions import INTAKE, MAKER, cautions
from ingest.job.course.due import due, unfound
from ingest.job.course.events import Disturbed
from ingest.job.course.intake import BY_ID, ITEMS
from ingest.job.course.job import Job, Phase
from ingest.job.course.tasks import FINDS, SWEEPS, Doing, Task
from ingest.job.vehicle.words import named


@dataclass(frozen=True, slots=True)
class Guidance:
    """What a display shows.

    ``task`` is its id, empty outside of the work; ``lacks`` what the program still waits for
    before the task can be done; ``asks`` the requests that make sense now, the usual one first.
    """

    task: str
    title: str
    text: str
    why: str
    lacks: tuple[str, ...]
    asks: tuple[str, ...]
    cautions: tuple[str, ...]
    advice: tuple[str, ...] = ()
    """What to turn, a sentence a part."""
    item: str = ""
    """The item of the intake that is to be looked at."""
    waits: tuple[str, ...] = ()
    """What a sweep that is still to come would be refused for if it were begun now."""

    @property
    def ready(self) -> bool:
        """Say whether the task can be finished now."""
        return not self.lacks


def guide(job: Job, facts: Facts) -> Guidance:
    """Return what to do now."""
    if job.phase is Phase.INTAKE:
        return _intake(job)
    if job.phase is Phase.OVER:
        return _over(job)
    task = job.current
    if task is None:
        return _all_done(job)
    upset = dict.fromkeys(_upset(each) for each in outstanding(job, facts))
    lacks = tuple(lacking(job, task, facts))
    return Guidance(
        task.id,
        task.title,
        " ".join((*upset, _text(job, task, facts))),
        task.why,
        lacks,
        _asks(job, task, facts),
        (*facts.heed, *cautions(task.doing, task.quantity)),
        _advice(task, facts),
        waits=facts.sweep_lacks if lacks and task.doing in SWEEPS else (),
    )


def outstanding(job: Job, facts: Facts) -> tuple[Disturbed, ...]:
    """Return what happened to heads and is not put right yet, the newest first."""
    return tuple(each for each in reversed(job.upsets) if _lacks(each, facts))


def _upset(what: Disturbed) -> str:
    return f"{what.todo} {what.reason[:1].upper()}{what.reason[1:]}."


def _lacks(what: Disturbed, facts: Facts) -> bool:
    wheel = what.axle, what.side
    match what.lacks:
        case "head":
            return wheel not in facts.wheels
        case "run-out":
            return wheel not in facts.compensated
        case "sightline":
            return wheel in facts.hidden
        case _:
            return False


def _advice(task: Task, facts: Facts) -> tuple[str, ...]:
    return tuple(line for topic in task.topics for line in facts.advice.get(topic, ()))


def _intake(job: Job) -> Guidance:
    if job.faults:
        fault = job.faults[0]
        item = BY_ID[fault.item]
        title = f"stopped: {item.title}"
        text = f"{fault.note}. " + (
            "Worn or loose parts make every figure idle: repair, then check it again."
            if item.loose
            else "Set it right, then check it again."
        )
        lacks = (item.title,)
        asks = ("job-check", "job-close")
        return Guidance("", title, text, "", lacks, asks, INTAKE, item=item.id)
    for item in ITEMS:
        if item.id not in job.checks:
            return Guidance(
                "",
                f"look at: {item.title}",
                item.how,
                "",
                tuple(BY_ID[each].title for each in job.unchecked),
                ("job-check", "job-close"),
                (*INTAKE, MAKER),
                item=item.id,
            )
    text = "All is looked at. Begin, and the order of work is laid down."
    return Guidance("", "begin", text, "", (), ("job-begin", "job-check"), ())


def _over(job: Job) -> Guidance:
    assert job.closed is not None
    if job.closed.finished:
        return Guidance("", "job closed", "The report proves it.", "", (), ("job-open",), ())
    text = f"Given up: {job.closed.reason}. See that whatever was loosened is tight."
    return Guidance("", "job given up", text, "", (), ("job-open",), ())


def _all_done(job: Job) -> Guidance:
    text = "Every task is done. Look over the table, then close the job; heads off."
    return Guidance("", "close the job", text, "", (), ("job-close", "job-back"), ())


def _text(job: Job, task: Task, facts: Facts) -> str:
    where = named(task.axles)
    match task.doing:
        case Doing.MOUNT:
            off = f"Take the heads off {named(task.off)}. " if task.off else ""
            return f"{off}Clamp a head to each wheel of {where}; say which head is where."
        case Doing.TAPE:
            lines = ", ".join(task.tapes)
            return f"Stretch the tape from hub to hub or pin, and enter {lines} in metres."
        case Doing.TURN:
            return (
                f"Lift {where} and turn each wheel once, stopping at thirds of a turn or on the"
                " way; or push the vehicle by one turn of its wheels."
            )
        case Doing.LOWER:
            return f"Let {where} down onto the plates, pins in; steering straight."
        case Doing.SWEEP | Doing.RESWEEP:
            return _sweep(task)
        case Doing.SETTLE:
            return f"Roll the vehicle to and fro, or jounce {where}, until it sits as it runs."
        case Doing.FIND:
            return f"Keep hands off until every figure of {where} is settled, then take them."
        case Doing.ADJUST:
            return _adjust(job, task, facts)
        case Doing.TIGHTEN if task.axles and _wedged(job, task):
            return (
                f"Weight on {where}: tighten its spring U-bolts crosswise, in steps, to the "
                "maker's figure, and all else that was loosened."
            )
        case Doing.TIGHTEN:
            return f"Tighten what was loosened at {where} to the maker's torque; watch the figures."
        case Doing.LEAVE:
            return f"Keep hands off until every figure of {where} is settled again, then take them."


def _sweep(task: Task) -> str:
    how = "steer 20 degrees left, back, right, back"
    if task.to_stops:
        how = "say that it goes to the stops, steer to the left stop, back, to the right, back"
    again = task.doing is Doing.RESWEEP
    without = "" if again else " Without turn plates leave this out, with the reason."
    return f"Plates unpinned, brake held: begin the sweep; {how}; end it.{without}"


def _wedged(job: Job, task: Task) -> bool:
    """Say whether wedges were fitted in the block that a task ends."""
    adjusts, _ = block_of(job, task)
    return any(t.quantity == "caster" and job.fitted_rad(t.axles[0]) for t in adjusts)


def _adjust(job: Job, task: Task, facts: Facts) -> str:
    todo = " ".join(_advice(task, facts))
    if unfound(job, task):
        return (
            "It was not measured as found, and is not turned before: go back and measure it, or"
            " leave it out with the reason."
        )
    if job.turning == task.id:
        return todo or "Adjust until the figure is home, then say that it is done."
    found = [job.found.get(topic) for topic in task.topics]
    if found and all(each is not None and each.decision == "inside" for each in found):
        return f"Inside its limit: leave it, or bring it closer. {todo}".strip()
    return todo or "Say that you begin to turn; then adjust until the figure is home."


def _asks(job: Job, task: Task, facts: Facts) -> tuple[str, ...]:
    if task.doing is Doing.TAPE and any(line not in job.taped for line in task.tapes):
        return ("job-tape", "job-skip", "job-back", "job-replan")
    if task.doing is Doing.RESWEEP:
        must = touched(job, task) and not any(lacking(job, task, facts))
        leave = () if must else ("job-skip",)
        return ("sweep-begin", "sweep-end", "job-done", *leave, "job-back")
    if task.doing is Doing.SWEEP:
        return ("sweep-begin", "sweep-end", "job-done", "job-skip", "job-back", "job-replan")
    if task.doing is not Doing.ADJUST:
        return ("job-done", "job-skip", "job-back", "job-replan")
    if job.turning == task.id:
        return ("job-done",)
    if unfound(job, task):
        return ("job-back", "job-skip", "job-done", "job-replan")
    return ("job-adjust", "job-done", "job-skip", "job-back", "job-replan")


def lacking(job: Job, task: Task, facts: Facts) -> Iterable[str]:
    """Yield what the bay does not know yet and the task wants."""
    match task.doing:
        case Doing.MOUNT:
            yield from _wheels(task, facts.wheels, "head on")
        case Doing.TURN:
            yield from _wheels(task, facts.compensated, "run-out of")
        case Doing.TAPE:
            yield from (line for line in task.tapes if line not in job.taped)
        case Doing.FIND | Doing.LEAVE | Doing.SWEEP | Doing.RESWEEP:
            needed = due(job, task) if task.doing in FINDS else ()
            for topic in dict.fromkeys((*task.topics, *needed)):
                reading = facts.readings.get(topic)
                if reading is None or reading.quality not in TRUSTED or reading.at < job.moved_at:
                    yield topic
        case _:
            return


def _wheels(task: Task, there: Container[tuple[int, str]], what: str) -> Iterable[str]:
    for axle in task.axles:
        for side in SIDES:
            if (axle, side) not in there:
                yield f"{what} axle {axle} {side}"
