"""Bar pins: the heading of an axle by pins that can be fitted in a few positions only."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

from ingest.core.frames import Side
from ingest.geometry.corrections import axle_ends
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.wanted import LEAVE, Correction, Step, Wanted
from ingest.geometry.corrections.words import lengthwise, millimetres

AS_GOOD_M = 1e-9
"""Moves that differ by less are equally good."""


@dataclass(frozen=True, slots=True)
class Position:
    """One way to fit a pin, and how far forward it holds the axle's end, from any one zero."""

    name: str
    forward_m: float


@dataclass(frozen=True, slots=True)
class BarPins:
    """Pins that can each be fitted in any of ``positions``; ``at`` is where they are now."""

    ends: Ends
    positions: tuple[Position, ...]
    at: Mapping[Side, Position]


def correct_by_bar_pins(wanted: Wanted, pins: BarPins) -> Correction:
    """Turn an axle by ``wanted.change`` as nearly as the positions allow, all of them tried.

    Among equals the one that changes the fewest pins, then the one that moves the axle's middle
    the least.
    """
    sides = pins.ends.sides

    def merit(fitted: tuple[Position, ...]) -> tuple[float, int, float]:
        moved = _moved_m(pins, sides, fitted)
        error_m = pins.ends.between_m * abs(wanted.change - pins.ends.turned_rad(moved))
        changed = sum(new != pins.at[side] for side, new in zip(sides, fitted, strict=True))
        return round(error_m / AS_GOOD_M), changed, abs(sum(moved.values()))

    best = min(product(pins.positions, repeat=len(sides)), key=merit)
    moved_m = _moved_m(pins, sides, best)
    steps = tuple(
        _step(side, pins.at[side], new, moved_m[side])
        for side, new in zip(sides, best, strict=True)
    )
    found = axle_ends.outcome(wanted, pins.ends, moved_m)
    return Correction(steps, (found,), axle_ends.also(moved_m))


def _moved_m(
    pins: BarPins, sides: tuple[Side, ...], fitted: tuple[Position, ...]
) -> dict[Side, float]:
    return {
        side: new.forward_m - pins.at[side].forward_m
        for side, new in zip(sides, fitted, strict=True)
    }


def _step(side: Side, now: Position, new: Position, move_m: float) -> Step:
    part = f"{side} bar pin"
    if new == now:
        return Step(part, LEAVE, f'Leave the {part} at "{now.name}".', side, 0.0)
    text = (
        f'Fit the {part} at "{new.name}" instead of "{now.name}": its end of the axle goes '
        f"{lengthwise(move_m)} by {millimetres(move_m)}."
    )
    return Step(part, "fit", text, side, move_m)
