"""From the steps of a plan to the tasks of a job: what a technician says "done" to, one by one."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from ingest.job.brief.topics import adjusted, alone, besides, cambers, pin_lines, swept, told
from ingest.job.course.tasks import Doing, Task
from ingest.job.plan.steps import Do, Step
from ingest.job.vehicle.axles import Axle
from ingest.job.vehicle.vehicle import Vehicle


def tasks_of(
    vehicle: Vehicle,
    steps: Sequence[Step],
    first: int = 1,
    taped: Iterable[str] = (),
    seen: Iterable[int] = (),
) -> tuple[Task, ...]:
    """Return the tasks of a plan; set-ups are counted on from ``first``.

    ``taped``: units whose tapes at the pin are there already. ``seen``: axles that had heads on.
    """
    return tuple(_Expansion(vehicle, first, taped=set(taped), seen=set(seen)).all(steps))


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
    touched: set[str] = field(default_factory=set)
    """Units in which something was adjusted: what is read there now was not found so."""

    def all(self, steps: Iterable[Step]) -> Iterator[Task]:
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
                yield self.task(Doing.SWEEP, (number,), topics, also, why=why)
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
        """Yield an adjustment for each quantity that heads can show."""
        (number,) = step.axles
        axle = self.vehicle.axle(number)
        for quantity in step.quantities:
            topics = adjusted(self.vehicle, axle, quantity)
            if topics:
                self.loosened.append(number)
                self.touched.add(step.unit)
                yield self.task(Doing.ADJUST, (number,), topics, quantity=quantity, why=step.why)

    def leave(self, step: Step) -> Iterator[Task]:
        """Yield what ends adjustments: tightened, settled, measured as left."""
        if self.loosened:
            axles = tuple(dict.fromkeys(self.loosened))
            self.loosened = []
            yield self.task(Doing.TIGHTEN, axles, why="what is loose moves on the road")
            yield self.task(Doing.SETTLE, self.mounted or axles, why="tightening moves it, too")
        topics = [t for n in step.axles if n in self.mounted for t in cambers(n)]
        topics += [t for n in step.axles for t in told(self.vehicle, self.axle(n))]
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
