"""From the steps of a plan to the tasks of a job: what a technician says "done" to, one by one."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from ingest.geometry.corrections.wanted import Quantity
from ingest.job.brief.topics import (
    adjusted,
    alone,
    besides,
    cambers,
    casters,
    pin_lines,
    swept,
    told,
)
from ingest.job.course.tasks import BY_SWEEP, Doing, Task
from ingest.job.plan.steps import Do, Step
from ingest.job.vehicle.axles import Axle
from ingest.job.vehicle.vehicle import Vehicle


def tasks_of(
    vehicle: Vehicle,
    steps: Sequence[Step],
    first: int = 1,
    taped: Iterable[str] = (),
    seen: Iterable[int] = (),
    without: Iterable[tuple[int, Quantity]] = (),
    mounted: Iterable[int] = (),
    loosened: Iterable[int] = (),
) -> tuple[Task, ...]:
    """Return the tasks of a plan; set-ups are counted on from ``first``.

    ``taped``: units whose tapes at the pin are there already. ``seen``: axles that had heads on.
    ``without``: quantities of axles that are not to be adjusted: done, or nobody says to what.
    ``mounted``: axles that have heads on already. ``loosened``: axles at which something is loose
    already; it is tightened before heads are moved, or anything is measured.
    """
    expansion = _Expansion(
        vehicle,
        first,
        tuple(sorted(mounted)),
        list(loosened),
        taped=set(taped),
        seen=set(seen),
        without=set(without),
    )
    return tuple(expansion.all(steps))


@dataclass(slots=True)
class _Expansion:
    vehicle: Vehicle
    set_up: int
    mounted: tuple[int, ...] = ()
    loosened: list[int] = field(default_factory=list)
    place: int = 0
    begun: bool = False
    taped: set[str] = field(default_factory=set)
    """Units whose pin was asked for."""
    seen: set[int] = field(default_factory=set)
    """Axles that had heads on before."""
    without: set[tuple[int, Quantity]] = field(default_factory=set)
    wheels: set[int] = field(default_factory=set)
    """Axles whose drag link comes up: where they point shows what is left of it."""
    touched: set[str] = field(default_factory=set)
    """Units in which something was adjusted: what is read there now was not found so."""

    def all(self, steps: Iterable[Step]) -> Iterator[Task]:
        yield from self.tighten()
        for step in steps:
            match step.do:
                case Do.MOUNT:
                    yield from self.mount(step)
                case Do.FOUND:
                    yield self.find(step)
                case Do.ADJUST:
                    yield from self.adjust(step)
                case Do.LEFT:
                    yield from self.leave(step)
            self.begun = True

    def mount(self, step: Step) -> Iterator[Task]:
        """Yield what a new set-up begins with; heads that stay are not turned anew."""
        if self.begun:
            self.set_up, self.place = self.set_up + 1, 0
        off = [axle for axle in self.mounted if axle not in step.stay]
        self.mounted = (*step.axles, *step.stay)
        yield self.task(Doing.MOUNT, step.axles, why=step.why, off=off or step.off)
        why = "each clamp sits anew, and its wheel is turned for its run-out"
        yield self.task(Doing.TURN, step.axles, why=why)
        why = "only what stands as it runs is measured"
        yield self.task(Doing.LOWER, step.axles, why=why)
        yield from self.sweep(step)
        yield self.task(Doing.SETTLE, self.mounted, why=why)
        yield from self.tape(step.unit)

    def sweep(self, step: Step) -> Iterator[Task]:
        """Yield the sweep of each steered axle that has heads on for the first time."""
        for number in step.axles:
            if self.axle(number).role.is_steered and number not in self.seen:
                topics, also = swept(number)
                why = "caster is found while the wheels are steered"
                stops = Quantity.LOCK_ANGLE if self.sets(number, Quantity.LOCK_ANGLE) else ""
                yield self.task(Doing.SWEEP, (number,), topics, also, quantity=stops, why=why)
            self.seen.add(number)

    def tape(self, unit_id: str) -> Iterator[Task]:
        """Yield the tapes that a towed unit hangs on, once."""
        unit = self.vehicle.unit(unit_id)
        lines = pin_lines(self.vehicle, unit)
        if lines and unit_id not in self.taped:
            self.taped.add(unit_id)
            why = "its headings are told from the pin, which carries no head"
            first = self.vehicle.axles_of(unit)[0].number
            yield self.task(Doing.TAPE, (first,), tapes=lines, why=why)

    def find(self, step: Step) -> Task:
        """Return the measurement as found; headings of axles that are known with it, too."""
        known = tuple(dict.fromkeys((*step.axles, *step.told)))
        topics = [topic for n in step.axles for topic in alone(self.vehicle, self.axle(n))]
        topics += [topic for n in step.told for topic in told(self.vehicle, self.axle(n))]
        also = [] if step.unit in self.touched else self.besides(step.unit)
        return self.task(Doing.FIND, known, topics, also, why=step.why)

    def adjust(self, step: Step) -> Iterator[Task]:
        """Yield an adjustment for each quantity that is shown by heads, at once or by a sweep."""
        (number,) = step.axles
        for at, (quantity, reason) in enumerate(zip(step.quantities, step.reasons, strict=True)):
            if not self.sets(number, quantity):
                continue
            if quantity is Quantity.STEERING_WHEEL:
                self.wheels.add(number)
            topics = adjusted(self.vehicle, self.axle(number), quantity)
            swept = quantity in BY_SWEEP
            if swept and self.loosened and quantity is Quantity.LOCK_ANGLE:
                yield from self.resweep(number, quantity, topics)
            elif swept:
                yield from self.tighten()
            self.loosened.append(number)
            self.touched.add(step.unit)
            why = step.why if not at else f"{reason}."
            yield self.task(Doing.ADJUST, (number,), topics, quantity=quantity, why=why)
            if swept:
                yield from self.resweep(number, quantity, topics)
        if self.axle(number).role.is_steered and number in self.loosened:
            # What was turned last moves the wheels against the stops, too.
            yield from self.resweep(number, None, casters(number))

    def sets(self, number: int, quantity: Quantity) -> bool:
        """Say whether a quantity of an axle is to be adjusted."""
        shown = adjusted(self.vehicle, self.axle(number), quantity)
        there = quantity in self.axle(number).quantities
        return there and bool(shown) and (number, quantity) not in self.without

    def resweep(
        self, number: int, quantity: Quantity | None, topics: Sequence[str]
    ) -> Iterator[Task]:
        """Yield what proves an adjustment that only a sweep can tell of."""
        yield from self.tighten()
        also = [topic for told in swept(number) for topic in told]
        why = "a sweep alone can tell what came of it"
        about = "" if quantity is None else quantity
        yield self.task(Doing.RESWEEP, (number,), topics, also, quantity=about, why=why)
        why = "steering moves tyres and suspension"
        yield self.task(Doing.SETTLE, self.mounted or (number,), why=why)

    def tighten(self) -> Iterator[Task]:
        """Yield what ends adjustments before anything is measured as left."""
        if self.loosened:
            axles = tuple(dict.fromkeys(self.loosened))
            self.loosened = []
            yield self.task(Doing.TIGHTEN, axles, why="what is loose moves on the road")
            yield self.task(Doing.SETTLE, self.mounted or axles, why="tightening moves it, too")

    def leave(self, step: Step) -> Iterator[Task]:
        """Yield what ends adjustments: tightened, settled, measured as left."""
        yield from self.tighten()
        topics = [t for n in step.axles if n in self.mounted for t in cambers(n)]
        topics += [t for n in step.axles for t in told(self.vehicle, self.axle(n))]
        for number in self.wheels & set(step.axles):
            self.wheels.remove(number)
            topics += adjusted(self.vehicle, self.axle(number), Quantity.STEERING_WHEEL)
        also = self.besides(step.unit)
        yield self.task(Doing.LEAVE, step.axles, topics, also, why=step.why)

    def axle(self, number: int) -> Axle:
        return self.vehicle.axle(number)

    def besides(self, unit_id: str) -> list[str]:
        """Return what can be known of a unit's axles besides, those without heads included."""
        axles = self.vehicle.axles_of(self.vehicle.unit(unit_id))
        return [topic for axle in axles for topic in besides(self.vehicle, axle)]

    def task(
        self,
        doing: Doing,
        axles: Sequence[int],
        topics: Sequence[str] = (),
        also: Iterable[str] = (),
        tapes: Iterable[str] = (),
        quantity: str = "",
        why: str = "",
        off: Iterable[int] = (),
    ) -> Task:
        self.place += 1
        return Task(
            f"s{self.set_up}-{self.place}",
            doing,
            self.set_up,
            tuple(axles),
            tuple(dict.fromkeys(topics)),
            tuple(t for t in dict.fromkeys(also) if t not in set(topics)),
            tuple(tapes),
            str(quantity),
            why,
            tuple(off),
        )
