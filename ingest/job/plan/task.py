"""What has to be done on one unit, as sets of axles in bits: bit i stands for its i-th axle."""

from collections.abc import Collection, Iterator, Set
from dataclasses import dataclass, field
from itertools import combinations

from ingest.core.frames import Side
from ingest.job.vehicle.axles import Role, Wheel
from ingest.job.vehicle.reference import line_of, reference_axle
from ingest.job.vehicle.vehicle import Unit, Vehicle

Bits = int
"""A set of axles of the unit."""

Line = frozenset[Wheel]
"""A sightline, by the wheels at its ends."""


@dataclass(frozen=True, slots=True)
class Task:
    """One unit's part of the job. All that is counted here are bits, but for ``axles``.

    ``axles``: numbers, front to rear. ``reference``: the reference axle. ``line``: ends of the
    centre line, 0 where the unit is told against its pin, which needs no head. ``against``: by
    axle, what it is told against beside that line. ``works``: axles that something is set of.
    ``steers``: of those, the ones that come last. ``set_ups``: sets of axles that may have heads
    on at the same time, each one network.
    """

    axles: tuple[int, ...]
    reference: Bits
    line: Bits
    against: tuple[Bits, ...]
    works: Bits
    steers: Bits
    set_ups: tuple[Bits, ...]
    dependents: tuple[Bits, ...] = field(init=False)
    """By axle, those that are told against it."""
    order: tuple[int, ...] = field(init=False)
    """Places of the axles, each after what it is told against."""
    again: int = field(init=False)
    """How many axles need heads once more after the reference axle was adjusted, at least."""

    def __post_init__(self) -> None:
        places = range(len(self.axles))
        found = tuple(sum(1 << j for j in places if self.against[j] >> i & 1) for i in places)
        order = sorted(places, key=lambda i: (self.against[i].bit_count(), i))
        object.__setattr__(self, "dependents", found)
        object.__setattr__(self, "order", tuple(order))
        # When the reference axle is adjusted, heads are on it and on the ends of its line.
        later, there = self.works & ~self.reference, self.reference | self.line
        without = (later & ~bits for bits in self.set_ups if bits & there == there)
        again = min((bits.bit_count() for bits in without), default=later.bit_count())
        object.__setattr__(self, "again", again)

    @property
    def all(self) -> Bits:
        """Every axle."""
        return (1 << len(self.axles)) - 1

    def bits(self, numbers: Collection[int]) -> Bits:
        """Return the axles of these numbers that are here."""
        return sum(1 << i for i, number in enumerate(self.axles) if number in numbers)

    def numbers(self, bits: Bits) -> tuple[int, ...]:
        """Return the numbers of axles, front to rear."""
        return tuple(self.axles[i] for i in each(bits))


def each(bits: Bits) -> Iterator[int]:
    """Yield the places of the bits that are set, the lowest first."""
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low


def task_of(
    vehicle: Vehicle,
    unit: Unit,
    pairs: int,
    seized: Set[int] = frozenset(),
    blocked: Set[Line] = frozenset(),
    reference: int | None = None,
) -> Task:
    """Return what has to be done on a unit.

    Args:
        vehicle: the vehicle.
        unit: one of its units.
        pairs: pairs of heads at hand.
        seized: axles that nothing can be set of today.
        blocked: sightlines that cannot be today, beside those of the vehicle.
        reference: the axle that work has begun against; None for the vehicle's own.
    """
    axles = vehicle.axles_of(unit)
    numbers = tuple(axle.number for axle in axles)
    told = reference_axle(vehicle, unit, seized) if reference is None else reference
    line = [end for end in line_of(vehicle, unit, told) if isinstance(end, int)]
    steer = [axle.number for axle in axles if axle.role is Role.STEER]
    second = [axle.number for axle in axles if axle.role is Role.SECOND_STEER]

    def bits(found: Collection[int]) -> Bits:
        return sum(1 << i for i, number in enumerate(numbers) if number in found)

    against = [0 if n == told else bits([told, *(steer if n in second else [])]) for n in numbers]
    works = bits([a.number for a in axles if a.adjustable and a.number not in seized])
    return Task(
        numbers,
        bits([told]),
        bits(line) if unit.kind.is_motor else 0,
        tuple(against),
        works,
        works & bits(steer + second),
        tuple(_set_ups(vehicle, numbers, pairs, blocked)),
    )


def _set_ups(
    vehicle: Vehicle, numbers: tuple[int, ...], pairs: int, blocked: Set[Line]
) -> Iterator[Bits]:
    for count in range(1, min(pairs, len(numbers)) + 1):
        for chosen in combinations(range(len(numbers)), count):
            if is_one(vehicle, tuple(numbers[i] for i in chosen), blocked):
                yield sum(1 << i for i in chosen)


def is_one(vehicle: Vehicle, mounted: tuple[int, ...], blocked: Set[Line] = frozenset()) -> bool:
    """Say whether sightlines join all wheels of these axles into one network."""
    wheels = [Wheel(number, side) for number in mounted for side in Side]
    reached, fresh = {wheels[0]}, [wheels[0]]
    while fresh:
        at = fresh.pop()
        for to in wheels:
            looks = at.axle == to.axle or at.side is to.side
            free = vehicle.sees(at, to) and frozenset((at, to)) not in blocked
            if to not in reached and looks and free:
                reached.add(to)
                fresh.append(to)
    return len(reached) == len(wheels)
