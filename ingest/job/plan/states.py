"""States of one unit's job, and what follows from each without moving a head.

All sets are bits, see ``Task``.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from ingest.job.plan.task import Bits, Task, each


class State(NamedTuple):
    """How far a unit's job is.

    ``mounted``: axles with heads on. ``tied``: axles whose wheels stand in the network of those as
    they were read last. ``found``: measured as found. ``touched``: adjusted. ``left``: measured
    as left.
    """

    mounted: Bits = 0
    tied: Bits = 0
    found: Bits = 0
    touched: Bits = 0
    left: Bits = 0


class Act(StrEnum):
    """What is done with heads where they are."""

    FOUND = "as_found"
    ADJUST = "adjust"
    LEFT = "as_left"


@dataclass(frozen=True, slots=True)
class Event:
    """An act on axles (bits)."""

    act: Act
    axles: Bits


def told(task: Task, state: State) -> Bits:
    """Return the axles whose headings can be told now."""
    bits = 0
    for i in each(state.tied):
        here = 1 << i
        if here == task.reference:
            if task.line & ~state.mounted == 0:
                bits |= here
        elif task.against[i] & ~state.tied == 0:
            bits |= here
    return bits


def settled(task: Task, state: State) -> Bits:
    """Return the axles that need nothing more: nothing that they are told against will change."""
    bits = 0
    for i in task.order:
        here, against = 1 << i, task.against[i]
        if against & ~bits:
            continue
        moved = bool((task.works & here) or (against & state.touched))
        if (state.left if moved else state.found) & here:
            bits |= here
    return bits


def allowed(task: Task, state: State, done: Bits) -> Bits:
    """Return the axles that may be adjusted now; ``done`` are the settled ones."""
    ready = task.works & state.mounted & state.found & ~state.touched & told(task, state)
    others = task.works & ~task.steers
    bits = 0
    for i in each(ready):
        here = 1 << i
        seen = state.mounted & ~here or (here == task.reference and not task.line)
        steered = bool(task.steers & here)
        if (
            seen
            and task.dependents[i] & ~state.found == 0
            and task.against[i] & ~done == 0
            and not (steered and others & ~state.left)
        ):
            bits |= here
    return bits


def adjusted(state: State, here: Bits) -> State:
    """Return the state after an axle was adjusted.

    An axle that alone has heads on is moved against all that is tied to it: the tie is lost.
    """
    tied = here if state.mounted == here else state.tied
    return state._replace(touched=state.touched | here, tied=tied)


def measured(task: Task, state: State) -> tuple[State, list[Event]]:
    """Return the state after everything that can be measured was: it costs nothing to wait with."""
    events = []
    known = told(task, state)
    virgin = sum(
        1 << i
        for i in each(known & ~state.found & ~state.touched)
        if not task.against[i] & state.touched
    )
    if virgin:
        events.append(Event(Act.FOUND, virgin))
        state = state._replace(found=state.found | virgin)
    while True:
        done = settled(task, state)
        left = sum(
            1 << i
            for i in each(known & ~state.left)
            if task.against[i] & ~done == 0 and _moved(task, state, i)
        )
        if not left:
            return state, events
        events.append(Event(Act.LEFT, left))
        state = state._replace(left=state.left | left)


def _moved(task: Task, state: State, i: int) -> bool:
    """Say whether what was found of an axle no longer holds: it, or what it is told against."""
    if task.works >> i & 1:
        return bool(state.touched >> i & 1)
    return bool(task.against[i] & state.touched or state.touched >> i & 1)


def worked(task: Task, state: State) -> tuple[State, list[Event]]:
    """Return the state after all that can be done at no cost: measured, and adjusted where every
    axle that an adjustment is told against has heads on, and no tie is lost by it."""
    state, events = measured(task, state)
    while True:
        free = 0
        for i in each(allowed(task, state, settled(task, state))):
            if task.against[i] & ~state.mounted == 0 and state.mounted != 1 << i:
                free = 1 << i
                break
        if not free:
            return state, events
        events.append(Event(Act.ADJUST, free))
        state, more = measured(task, adjusted(state, free))
        events += more


def moved(state: State, mounted: Bits) -> State:
    """Return the state after heads were moved: those that stayed tie the old to the new."""
    stayed = state.mounted & mounted & state.tied
    return state._replace(mounted=mounted, tied=(state.tied if stayed else 0) | mounted)


def lean(task: Task, state: State) -> State:
    """Return the state without ties on which nothing hangs any more.

    What still hangs on one: axles with heads on, axles that others are told against, axles that are
    not yet found, and axles that are not adjusted themselves but told anew once others are.
    """
    done = settled(task, state)
    kept = state.mounted | (task.all & ~state.found) | (task.all & ~done & ~task.works)
    kept |= state.touched & ~state.left
    for i in range(len(task.axles)):
        if task.dependents[i] & ~done:
            kept |= 1 << i
    return state._replace(tied=state.tied & kept)
