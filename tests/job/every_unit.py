"""Every unit of so many axles, once: roles, what can be set, head pairs.

Without blocked lines axles are told apart by nothing but what they are told against and whether
they are set. So two units that differ only in which of several like axles is which are one case:
the reference axle is the last here, and of the others the foremost are those that are set. Run by
itself, ``python -m tests.job.every_unit 6`` compares planner and brute force on all of a size.
"""

import sys
import time
from itertools import combinations, product

from ingest.job.plan.search import search
from ingest.job.plan.states import State
from ingest.job.plan.task import Task
from tests.job.brute_force import START, Unit

PAIRS = (1, 2, 3)


def every_unit(n):
    """Yield (motor, second, works): whether it drives itself, has a second steer axle, what is set.

    In a motor unit axle 1 steers, axle 2 too where ``second``; axle n is the reference.
    """
    for motor, second in ((True, False), (True, True), (False, False)):
        special = [n, *([1] if motor else []), *([2] if second else [])]
        if len(set(special)) < len(special) or n < len(special):
            continue
        others = [axle for axle in range(1, n + 1) if axle not in special]
        for flags in product((False, True), repeat=len(special)):
            chosen = [axle for axle, flag in zip(special, flags, strict=True) if flag]
            for count in range(len(others) + 1):
                yield motor, second, sorted(chosen + others[:count])


def slow_unit(n, motor, second, works, joined=lambda mounted: True):
    """Return the unit for the brute force."""
    steer, other = (1 if motor else None), (2 if second else None)
    return Unit(range(1, n + 1), n, {1, n} if motor else set(), works, steer, other, joined)


def both(n, motor, second, works, pairs, joined=lambda mounted: True, start=START):
    """Return the cost by brute force and that of the planner."""
    slow = slow_unit(n, motor, second, works, joined).cheapest(pairs, start)
    state = State(*(sum(1 << axle - 1 for axle in axles) for axles in start))
    found = search(task(n, motor, second, works, pairs, joined), state).cost
    return slow, None if found is None else tuple(found)


def task(n, motor, second, works, pairs, joined=lambda mounted: True):
    """Return the planner's task."""
    bits = lambda axles: sum(1 << axle - 1 for axle in axles)  # noqa: E731
    against = [bits({n} | ({1} if second and axle == 2 else set())) for axle in range(1, n)]
    steers = ({1} if motor else set()) | ({2} if second else set())
    set_ups = [
        bits(chosen)
        for count in range(1, pairs + 1)
        for chosen in combinations(range(1, n + 1), count)
        if joined(frozenset(chosen))
    ]
    return Task(
        tuple(range(1, n + 1)),
        bits({n}),
        bits({1, n}) if motor else 0,
        (*against, 0),
        bits(works),
        bits(steers & set(works)),
        tuple(set_ups),
    )


def main(n):
    """Compare all units of a size; return how many differ."""
    count = wrong = 0
    began = time.process_time()
    for unit in every_unit(n):
        for pairs in PAIRS:
            slow, found = both(n, *unit, pairs)
            count += 1
            if slow != found:
                wrong += 1
                print("differ:", n, *unit, pairs, slow, found)
    print(f"{count} units of {n} axles, {wrong} differ, {time.process_time() - began:.0f} s")
    return wrong


if __name__ == "__main__":
    sys.exit(min(main(int(sys.argv[1])), 1))
