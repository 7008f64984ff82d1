"""The order of work on a vehicle: the cheapest plan of mountings, measurements and adjustments.

**What is planned.** Each rigid frame (unit) by itself, as its headings hang on nothing outside it:
first those that have heads on, then front to rear; heads come off between.

**State** of a unit: the axles that have heads on; those that are *tied*, whose wheels stand in one
sightline network with the wheels that have heads on; those measured as found; those adjusted; those
measured as left.

**Moves.** A *set-up* puts pairs of heads (one axle each) on other axles, at most as many as there
are; sightlines must join all its wheels into one network. A *mounting* is one pair put on one axle:
its clamps sit anew, so both wheels are turned for their run-out once. Heads that stay tie what they
saw before to what comes; where none stays, the ties are gone. Measuring costs nothing; nor does
adjusting an axle that has heads on, after which it is measured as left at once.

**What is told against what.** The reference axle against the line of its unit: the centre line,
whose two axles must both have heads on, or the line from the pin, which needs a tape and no head. A
second steer axle against the reference axle and the first steer axle. Every other axle against the
reference axle. Whatever an axle is told against must be tied while it is measured or adjusted.

**Constraints.** An axle is measured as found before it, or anything that it is told against, is
adjusted. An axle is adjusted only once everything that it is told against is settled (measured, and
where it is adjusted measured as left). Steer axles are adjusted last in their unit, since toe and
steering-wheel position hang on where the drive axles push; the second after the first. While an
axle is adjusted another one that has heads on must stand still, or it could not be told what moved;
a reference axle that is told against a pin needs none. An axle that is not adjusted itself, but
told against one that was, is measured as left after it.

**End.** Every axle is measured as found, and as left where it or what it is told against was
adjusted.

**Cost**, compared in this order: mountings; set-ups; adjustments made against an axle that has no
heads on, through ties alone.

On a 6x4 whose rear drive axle cannot be set, two pairs need three mountings: rear drive axle, steer
axle, forward drive axle, the pair on the steer axle staying. Where the rear drive axle is set as
well, the forward one has to be seen as found before that, and is mounted twice.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from ingest.job.plan.progress import Axles, Cannot, Done
from ingest.job.plan.reasons import Hindrance, hindrance, unmet
from ingest.job.plan.search import Cost, search
from ingest.job.plan.states import State
from ingest.job.plan.steps import Do, Step, steps_of
from ingest.job.plan.task import Line, Task, task_of
from ingest.job.vehicle.vehicle import Unit, Vehicle


@dataclass(frozen=True, slots=True)
class UnitPlan:
    """The plan of one unit: steps, or why there is none."""

    unit: str
    reference: int
    cost: Cost
    steps: tuple[Step, ...] = ()
    hindrance: Hindrance | None = None
    missed: tuple[int, ...] = ()
    """Axles that were not measured as found before they were touched, and never can be now."""


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of a vehicle; ``possible`` where every unit has one."""

    vehicle: Vehicle
    pairs: int
    units: tuple[UnitPlan, ...] = field(default=())

    @property
    def possible(self) -> bool:
        """Whether all can be done."""
        return all(unit.hindrance is None for unit in self.units)

    @property
    def cost(self) -> Cost:
        """Of all units."""
        total = Cost()
        for unit in self.units:
            total = total.plus(unit.cost)
        return total

    @property
    def steps(self) -> tuple[Step, ...]:
        """Of all units, in order."""
        return tuple(step for unit in self.units for step in unit.steps)


def plan(
    vehicle: Vehicle, pairs: int, done: Done | None = None, cannot: Cannot | None = None
) -> Plan:
    """Return the cheapest plan from where the job is.

    Args:
        vehicle: the vehicle.
        pairs: pairs of heads at hand, 1 or more.
        done: how far the job is; None at its beginning.
        cannot: what cannot be done today.

    Raises: ``ValueError`` where more axles have heads on than there are pairs.
    """
    done, cannot = done or Done(), cannot or Cannot()
    if len(done.mounted) > pairs or pairs < 1:
        raise ValueError(f"{len(done.mounted)} axles with heads on, and {pairs} pairs at hand")
    return Plan(vehicle, pairs, tuple(_plans(vehicle, pairs, done, cannot)))


def _plans(vehicle: Vehicle, pairs: int, done: Done, cannot: Cannot) -> Iterator[UnitPlan]:
    def waits(unit: Unit) -> bool:
        return not any(axle.number in done.mounted for axle in vehicle.axles_of(unit))

    on = done.mounted
    for unit in sorted(vehicle.units, key=waits):
        here = frozenset(axle.number for axle in vehicle.axles_of(unit))
        found = _plan(vehicle, unit, pairs, done, cannot, on - here)
        for step in found.steps:
            if step.do is Do.MOUNT:
                on = (on - set(step.off)) | set(step.axles)
        yield found


def _plan(
    vehicle: Vehicle, unit: Unit, pairs: int, done: Done, cannot: Cannot, elsewhere: Axles
) -> UnitPlan:
    def task_for(whole: Vehicle, at_hand: int, blocked: frozenset[Line]) -> Task:
        here = [a.number for a in whole.axles_of(unit) if a.number in done.references]
        seized = cannot.seized - done.touched
        return task_of(whole, unit, at_hand, seized, blocked, here[0] if here else None)

    task = task_for(vehicle, pairs, cannot.blocked)
    start, missed = _start(task, done)
    (reference,) = task.numbers(task.reference)
    lost = task.numbers(missed)
    found = search(task, start) if unmet(task, pairs) is None else None
    if found is None or found.cost is None:
        why = hindrance(vehicle, task_for, pairs, cannot.blocked, start)
        return UnitPlan(unit.id, reference, Cost(), (), why, lost)
    steps = tuple(steps_of(vehicle, unit, task, start, found.legs, tuple(sorted(elsewhere))))
    return UnitPlan(unit.id, reference, found.cost, steps, None, lost)


def _start(task: Task, done: Done) -> tuple[State, int]:
    """Return the state of a unit, and the axles that can no longer be measured as found."""
    sets = (done.mounted, done.tied, done.found, done.touched, done.left)
    start = State(*(task.bits(numbers) for numbers in sets))
    missed = 0
    for i in range(len(task.axles)):
        if (start.touched >> i & 1) or task.against[i] & start.touched:
            missed |= 1 << i
    missed &= ~start.found
    # Nobody can see any more how these were: what is left is to go on without.
    return start._replace(found=start.found | missed), missed
