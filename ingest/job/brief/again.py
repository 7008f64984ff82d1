"""What is to be measured once more at the end of a job, since something was moved after it was.

Whatever can be read with heads where they are is read on the way, besides what a task asks for.
What is left of a unit then needs heads once more: on the axles whose results they are, and on those
that these are told against. As many as there are pairs at once, and all but one pair stay each
time, so that no axle is mounted twice; those that have heads on come first: they cost nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, permutations

from ingest.job.brief.topics import TO_THE_LINE, axles_in, cambers, swept
from ingest.job.course.job import Job
from ingest.job.course.tasks import Doing, Task
from ingest.job.plan.progress import Cannot
from ingest.job.plan.task import is_one
from ingest.job.vehicle.reference import line_of, reference_axle
from ingest.job.vehicle.vehicle import Unit, Vehicle

WHY = "something was moved after it was measured"
ORDERS = 5000
"""So many orders of mounting are tried where sightlines are blocked: all those of seven axles."""


def measured_again(
    vehicle: Vehicle, job: Job, mounted: Sequence[int], pairs: int, cannot: Cannot
) -> tuple[Task, ...]:
    """Return the tasks that measure what holds no longer (``Job.held``), mounting least.

    None where heads cannot be put so that all of it is told; ``mounted`` have heads on.
    """
    makes = _Makes(max((task.set_up for task in job.tasks), default=0), tuple(mounted))
    by_unit = {
        unit.id: [t for t in job.held if _unit(vehicle, t) == unit] for unit in vehicle.units
    }
    waits = sorted(by_unit, key=lambda u: not _axles(vehicle, u) & set(mounted))
    for unit_id in waits:
        held = by_unit[unit_id]
        if not held:
            continue
        needed = _needed(vehicle, vehicle.unit(unit_id), held)
        set_ups = _set_ups(vehicle, needed, [n for n in mounted if n in needed], pairs, cannot)
        if set_ups is None:
            return ()
        makes.unit(set_ups, held)
    return tuple(makes.tasks)


def _unit(vehicle: Vehicle, topic: str) -> Unit:
    numbers = axles_in(topic)
    return vehicle.unit(vehicle.axle(numbers[0]).unit) if numbers else vehicle.units[0]


def _axles(vehicle: Vehicle, unit_id: str) -> set[int]:
    return {axle.number for axle in vehicle.axles if axle.unit == unit_id}


def _needed(vehicle: Vehicle, unit: Unit, held: Sequence[str]) -> list[int]:
    """Return the axles that must have heads on, in the order in which they are mounted."""
    own = sorted({number for topic in held for number in axles_in(topic)})
    to_the_line = any(t.rsplit("/", 1)[1] in ("toe", *TO_THE_LINE) or not axles_in(t) for t in held)
    if not to_the_line:
        return own
    reference = reference_axle(vehicle, unit)
    ends = [end for end in line_of(vehicle, unit, reference) if isinstance(end, int)]
    if not all(map(axles_in, held)):
        own += [a.number for a in vehicle.axles_of(unit) if a.role.is_steered or a.role == "drive"]
    return list(dict.fromkeys((reference, *ends, *own)))


def _set_ups(
    vehicle: Vehicle, needed: Sequence[int], there: Sequence[int], pairs: int, cannot: Cannot
) -> list[tuple[int, ...]] | None:
    """Return which axles have heads on at once, set-up by set-up; None where none are joined."""
    rest = [number for number in needed if number not in there]
    for order in islice(permutations(rest), ORDERS):
        set_ups = _in_turn((*there, *order), pairs)
        if all(is_one(vehicle, axles, cannot.blocked) for axles in set_ups):
            return set_ups
    return None


def _in_turn(order: Sequence[int], pairs: int) -> list[tuple[int, ...]]:
    set_ups, rest = [tuple(order[:pairs])], list(order[pairs:])
    while rest:
        fresh, rest = rest[: max(pairs - 1, 1)], rest[max(pairs - 1, 1) :]
        set_ups.append((*set_ups[0][: pairs - 1], *fresh)[-pairs:] if pairs > 1 else tuple(fresh))
    return set_ups


@dataclass(slots=True)
class _Makes:
    """Makes tasks; ``mounted`` have heads on."""

    set_up: int
    mounted: tuple[int, ...]
    tasks: list[Task] = field(default_factory=list)
    place: int = 0

    def unit(self, set_ups: Sequence[tuple[int, ...]], held: Sequence[str]) -> None:
        """Add the tasks of a unit: cambers where heads are on, all else at the last."""
        left = list(held)
        for at, axles in enumerate(set_ups, start=1):
            self.set_up, self.place = self.set_up + 1, 0
            last = at == len(set_ups)
            self.mount(axles)
            for number in axles:
                told, also = swept(number)
                of_sweep = [topic for topic in (*told, *also) if topic in left]
                if of_sweep:
                    self.add(Doing.RESWEEP, (number,), of_sweep, (*told, *also))
                left = [topic for topic in left if topic not in of_sweep]
            now = [t for t in left if last or any(t in cambers(number) for number in axles)]
            left = [topic for topic in left if topic not in now]
            if now:
                self.add(Doing.SETTLE, axles)
                about = sorted({n for topic in now for n in axles_in(topic)}) or axles
                self.add(Doing.LEAVE, about, now)

    def mount(self, axles: tuple[int, ...]) -> None:
        fresh = tuple(number for number in axles if number not in self.mounted)
        if fresh:
            off = tuple(number for number in self.mounted if number not in axles)
            self.add(Doing.MOUNT, fresh)
            self.tasks[-1] = replace(self.tasks[-1], off=off)
            for doing in (Doing.TURN, Doing.LOWER):
                self.add(doing, fresh)
            self.mounted = axles

    def add(
        self,
        doing: Doing,
        axles: Sequence[int],
        topics: Sequence[str] = (),
        also: Sequence[str] = (),
    ) -> None:
        self.place += 1
        besides = tuple(topic for topic in also if topic not in topics)
        name = f"s{self.set_up}-{self.place}"
        self.tasks.append(
            Task(name, doing, self.set_up, tuple(axles), tuple(topics), besides, why=WHY)
        )
