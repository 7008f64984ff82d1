"""Eccentric pivots: the heading of an axle by the angle of an eccentric of known radius.

At the angle phi from its middle, an eccentric of radius e stands e sin(phi) forward of it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections import axle_ends
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.thread import Turning, beyond_travel
from ingest.geometry.corrections.wanted import LEAVE, Correction, Step, Wanted
from ingest.geometry.corrections.words import lengthwise, millimetres


@dataclass(frozen=True, slots=True)
class Eccentrics:
    """Eccentrics of ``radius_m`` that may stand up to ``range_rad`` either side of the middle.

    ``at_rad`` is where each stands now, positive towards the front. ``forward`` is the turning
    that moves the axle's end forward, None where nobody stated it.
    """

    ends: Ends
    radius_m: float
    range_rad: float
    at_rad: Mapping[Side, float]
    forward: Turning | None = None
    step_rad: float = DEG


def correct_by_eccentrics(wanted: Wanted, eccentrics: Eccentrics) -> Correction:
    """Turn an axle by ``wanted.change``: e (sin(phi) - sin(phi now)) is the move of an end.

    Raises: ``MeasurementRefused`` (``beyond-travel``) where the range is not enough.
    """
    steps: list[Step] = []
    moved_m: dict[Side, float] = {}
    for side, move_m in eccentrics.ends.moves_m(wanted.change).items():
        steps.append(_step(eccentrics, side, move_m))
        moved_m[side] = _moved_m(eccentrics, side, steps[-1].set_turn_rad or 0.0)
    found = axle_ends.outcome(wanted, eccentrics.ends, moved_m)
    return Correction(tuple(steps), (found,), axle_ends.also(moved_m))


def _moved_m(eccentrics: Eccentrics, side: Side, turn_rad: float) -> float:
    now = eccentrics.at_rad[side]
    return eccentrics.radius_m * (math.sin(now + turn_rad) - math.sin(now))


def _step(eccentrics: Eccentrics, side: Side, move_m: float) -> Step:
    part = f"{side} eccentric"
    now = eccentrics.at_rad[side]
    sine = math.sin(now) + move_m / eccentrics.radius_m
    if abs(sine) > math.sin(eccentrics.range_rad):
        end_rad = math.copysign(eccentrics.range_rad, move_m)
        left_m = max(0.0, abs(_moved_m(eccentrics, side, end_rad - now)))
        raise beyond_travel(part, abs(move_m), left_m)
    turn_rad = math.asin(sine) - now
    set_rad = _settable(now, turn_rad, eccentrics)
    if set_rad == 0:
        text = f"Leave the {part} as it is: less than one step."
        return Step(part, LEAVE, text, side, move_m, turn_rad, 0.0)
    moved_m = _moved_m(eccentrics, side, set_rad)
    way = lengthwise(moved_m)
    text = f"Turn the {part} by {_degrees(set_rad)}"
    if eccentrics.forward is not None:
        text += f" {eccentrics.forward.words(reverse=set_rad < 0)}"
    text += f": its end of the axle goes {way} by {millimetres(moved_m)}."
    return Step(part, f"turn {way}", text, side, move_m, turn_rad, set_rad)


def _settable(now_rad: float, turn_rad: float, eccentrics: Eccentrics) -> float:
    """Return the nearest whole number of steps that does not leave the range."""
    steps = round(turn_rad / eccentrics.step_rad)
    if abs(now_rad + steps * eccentrics.step_rad) > eccentrics.range_rad:
        steps -= int(math.copysign(1, turn_rad))
    return steps * eccentrics.step_rad


def _degrees(angle_rad: float) -> str:
    return f"{abs(angle_rad) / DEG:.4g} degrees"
