"""The cheapest way through the states of one unit's job: A* with a bound that never is too high.

The bound. An axle without heads on, of which something is still to be adjusted, or that stands in
no network and is not settled, must be mounted once more; so must an end of the centre line as long
as the reference axle is not settled. Where the reference axle is still to be adjusted, all that
must be measured as found is mounted before that moment, and all others that are adjusted have
heads on after it: those for which no set-up with the reference axle and the ends of its line has
room are mounted once more. A set-up after the first leaves one pair at least where it is: moving
all would cut the tie to the reference axle, and that one would have to be mounted for it; where it
must be mounted anyhow, one set-up may do so. Set-ups before and after the reference axle is
adjusted are others. The bound is never too high, so the first end that is taken up is the
cheapest.

States that differ only in which of several like axles is which are one (``alike``), and what an
axle is tied to is forgotten where nothing hangs on it any more (``lean``).
"""

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import count
from typing import NamedTuple

from ingest.job.plan.alike import Class, as_one, classes_of
from ingest.job.plan.states import (
    Act,
    Event,
    State,
    adjusted,
    allowed,
    lean,
    moved,
    settled,
    worked,
)
from ingest.job.plan.task import Bits, Task, each


class Cost(NamedTuple):
    """What a plan costs, compared in this order.

    ``mountings``: pairs of heads put on an axle, each with its compensation. ``set_ups``: times
    that heads are moved at all. ``tied``: adjustments made against an axle that has no heads on,
    by what ties it to those that have.
    """

    mountings: int = 0
    set_ups: int = 0
    tied: int = 0

    def plus(self, other: "Cost") -> "Cost":
        """Return the sum."""
        return Cost(*(one + two for one, two in zip(self, other, strict=True)))


@dataclass(frozen=True, slots=True)
class Leg:
    """One set-up: the axles that have heads on, those newly, and what is done then."""

    mounted: Bits
    fresh: Bits
    stayed: Bits
    tied: Bits
    """Axles without heads that the new ones are tied to."""
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """The cheapest way, or how far any way leads."""

    cost: Cost | None
    legs: tuple[Leg, ...]
    reached: State
    """Everything that some state could do, where there is no way to the end."""


def search(task: Task, start: State) -> Found:
    """Return the cheapest way from a state to the end of a unit's job."""
    most = max((bits.bit_count() for bits in task.set_ups), default=1)
    classes = classes_of(task)
    first, events = worked(task, start)

    @cache  # many ways lead to one state
    def ended(state: State) -> tuple[State, tuple[Event, ...]]:
        after, events = worked(task, state)
        return lean(task, after), tuple(events)

    came: dict[State, tuple[State, Bits, tuple[Event, ...]] | None] = {first: None}
    best = {as_one(first, classes): Cost()}
    order = count(0, -1)  # of states that promise the same, the newest is nearest to the end
    heap = [(_bound(task, first, most), next(order), Cost(), first, 0)]
    reached = first
    while heap:
        bound, _, cost, state, idle = heapq.heappop(heap)
        if cost > best[as_one(state, classes)]:
            continue
        reached = _union(reached, state)
        if settled(task, state) == task.all:
            return Found(cost, tuple(_legs(first, events, came, state)), reached)
        if idle < most:
            dearer = bound.plus(Cost(mountings=1))
            heapq.heappush(heap, (dearer, next(order), cost, state, idle + 1))
        for price, after, mounted, done in _moves(task, state, classes, idle, ended):
            total = cost.plus(price)
            known = as_one(after, classes)
            if known not in best or total < best[known]:
                best[known] = total
                came[after] = (state, mounted, done)
                bound = total.plus(_bound(task, after, most))
                heapq.heappush(heap, (bound, next(order), total, after, 0))
    return Found(None, (), reached)


def _bound(task: Task, state: State, most: int) -> Cost:
    needed, again = _needed(task, state)
    missing = (needed & ~state.mounted).bit_count()
    if most == 1:
        return Cost(missing + again, missing + again)
    kept = state.tied & ~(needed & ~state.mounted) & task.reference
    fresh = missing if state.mounted and kept else max(0, missing - 1)
    before, later = -(-fresh // (most - 1)), -(-again // (most - 1))
    return Cost(missing + again, max(before, int(missing > 0)) + later)


def _needed(task: Task, state: State) -> tuple[Bits, int]:
    """Return the axles that must have heads on yet, and how many must once more after that."""
    open_axles = task.all & ~settled(task, state)
    needed = (open_axles & ~state.tied) | (task.works & ~state.touched)
    if open_axles & task.reference:
        needed |= task.line
    again = 0
    if task.reference & task.works & ~state.touched:
        again = task.again
        needed = (open_axles & ~state.tied & ~state.found) | task.reference | task.line
    return needed, again


def _moves(
    task: Task,
    state: State,
    classes: tuple[Class, ...],
    idle: int,
    ended: Callable[[State], tuple[State, tuple[Event, ...]]],
) -> Iterator[tuple[Cost, State, Bits, tuple[Event, ...]]]:
    """Yield price, state after, axles with heads on, and what is done.

    Set-ups are those that mount ``idle`` axles that the bound does not ask for: each of these
    makes the whole dearer by one, so they can wait until nothing cheaper is left.
    ``ended`` does what costs nothing.
    """
    needed, _ = _needed(task, state)
    for i in each(allowed(task, state, settled(task, state)) if idle == 0 else 0):
        here = 1 << i
        after, more = ended(adjusted(state, here))
        tied = int(task.against[i] & ~state.mounted != 0)
        yield Cost(tied=tied), after, state.mounted, (Event(Act.ADJUST, here), *more)
    alike = set()
    for mounted in task.set_ups:
        fresh = mounted & ~state.mounted
        if not fresh or (fresh & ~needed).bit_count() != idle:
            continue
        after = moved(state, mounted)
        one = (fresh.bit_count(), as_one(after, classes))
        if one not in alike:
            alike.add(one)
            after, events = ended(after)
            yield Cost(fresh.bit_count(), 1), after, mounted, events


def _legs(
    first: State,
    events: list[Event],
    came: dict[State, tuple[State, Bits, tuple[Event, ...]] | None],
    last: State,
) -> Iterator[Leg]:
    """Yield the set-ups of a way, each with all that is done in it."""
    way = []
    state = last
    while (step := came[state]) is not None:
        before, mounted, done = step
        way.append((before, mounted, done))
        state = before
    mounted, fresh, stayed, tied = first.mounted, 0, first.mounted, first.tied & ~first.mounted
    acts = list(events)
    for before, now, done in reversed(way):
        if now == mounted:
            acts += done
            continue
        if fresh or acts:
            yield Leg(mounted, fresh, stayed, tied, tuple(acts))
        after = moved(before, now)
        mounted, fresh, stayed = now, now & ~before.mounted, now & before.mounted
        tied = after.tied & ~now
        acts = list(done)
    if fresh or acts:
        yield Leg(mounted, fresh, stayed, tied, tuple(acts))


def _union(one: State, other: State) -> State:
    return State(*(a | b for a, b in zip(one, other, strict=True)))
