"""Why there is no plan, and what would help."""

from collections.abc import Callable, Iterator, Set
from dataclasses import dataclass, replace

from ingest.job.plan.search import search
from ingest.job.plan.states import State
from ingest.job.plan.task import Bits, Line, Task, each
from ingest.job.vehicle.vehicle import Blocked, Vehicle
from ingest.job.vehicle.words import named

TaskOf = Callable[[Vehicle, int, frozenset[Line]], Task]
"""From a vehicle, a number of pairs and what else is blocked to a unit's task."""


@dataclass(frozen=True, slots=True)
class Hindrance:
    """What cannot be met, in a sentence, and what would help, in phrases."""

    reason: str
    helps: tuple[str, ...]


def unmet(task: Task, pairs: int) -> str | None:
    """Return what no set-up can meet, whatever the order; None where there is no such thing."""
    many = "1 pair of heads" if pairs == 1 else f"{pairs} pairs of heads"
    for i in task.order:
        if not any(bits >> i & 1 for bits in task.set_ups):
            return f"no set-up of {many} joins both wheels of axle {task.axles[i]} by sightlines"
    if task.line and not any(task.line & ~bits == 0 for bits in task.set_ups):
        ends = named(task.numbers(task.line))
        return f"the centre line needs heads on {ends} at the same time, joined by sightlines: " + (
            f"{many} cannot do that"
        )
    (reference,) = task.numbers(task.reference)
    apart = task.numbers(task.all & ~_tied(task))
    if apart:
        one = f"{many} cannot tie {named(apart)} to axle {reference}"
        return f"{one}, which headings are told against"
    for i in each(task.works):
        alone = 1 << i
        pin = alone == task.reference and not task.line
        if not pin and not any(bits & alone and bits != alone for bits in task.set_ups):
            return f"while axle {task.axles[i]} is adjusted another axle must have heads on"
    return None


def _tied(task: Task) -> Bits:
    """Return the axles that set-ups which share an axle join to the reference axle."""
    tied, before = task.reference, 0
    while tied != before:
        before = tied
        for bits in task.set_ups:
            tied |= bits if bits & tied else 0
    return tied


def hindrance(
    vehicle: Vehicle,
    task_of: TaskOf,
    pairs: int,
    blocked: frozenset[Line],
    start: State,
) -> Hindrance:
    """Return why a unit has no plan, and which single thing would let it have one."""
    task = task_of(vehicle, pairs, blocked)
    reason = unmet(task, pairs) or _stuck(task, start)
    return Hindrance(reason, tuple(_helps(vehicle, task_of, pairs, blocked, start)))


def possible(task: Task, pairs: int, start: State) -> bool:
    """Say whether a unit has a plan."""
    return unmet(task, pairs) is None and search(task, start).cost is not None


def _stuck(task: Task, start: State) -> str:
    """Return which axle no order gets done, where every single set-up that is needed exists."""
    reached = search(task, start).reached
    for i in task.order:
        if not reached.found >> i & 1:
            return f"no order of set-ups ties axle {task.axles[i]} to what it is told against"
    for i in task.order:
        if task.works >> i & 1 and not reached.touched >> i & 1:
            number = task.axles[i]
            return (
                f"no order of set-ups has axle {number} and what it is told against in one network"
            )
    return "no order of set-ups measures all as left"


def _helps(
    vehicle: Vehicle, task_of: TaskOf, pairs: int, blocked: frozenset[Line], start: State
) -> Iterator[str]:
    most = len(task_of(vehicle, pairs, blocked).axles)
    for more in range(pairs + 1, most + 1):
        if possible(task_of(vehicle, more, blocked), more, start):
            extra = more - pairs
            yield "another pair of heads" if extra == 1 else f"{extra} more pairs of heads"
            break
    for line in sorted(blocked | _own(vehicle), key=_ids):
        free = replace(vehicle, blocked=tuple(_without(vehicle.blocked, line)))
        if possible(task_of(free, pairs, blocked - {line}), pairs, start):
            yield f"a free sightline from {' to '.join(_ids(line))}"


def _own(vehicle: Vehicle) -> Set[Line]:
    return {each.wheels for each in vehicle.blocked}


def _without(found: tuple[Blocked, ...], line: Line) -> Iterator[Blocked]:
    return (blocked for blocked in found if blocked.wheels != line)


def _ids(line: Line) -> list[str]:
    return [wheel.id for wheel in sorted(line)]
