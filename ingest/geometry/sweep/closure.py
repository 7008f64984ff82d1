"""Out and back: the same steering should read the same whichever way it was come to."""

import math

import numpy as np
from numpy.typing import NDArray

from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.contradiction import extra_unknowns
from ingest.geometry.sweep.readings import SweepLimits
from ingest.geometry.sweep.refine import Refined
from ingest.geometry.sweep.steering import Closure, Gap

F64 = NDArray[np.float64]

TURNED_RAD = math.radians(1.0)
"""Steering back by less is no way back: noise, or a hand that trembles."""
FEWEST_EACH_WAY = 3
CHANNELS = ("incl_y", "incl_x")


def ways(steer_rad: F64) -> F64:
    """Return for each reading which way it was come to: 1 to the left, -1 to the right, (n,).

    A way ends at its furthest reading. 0 before the first move.
    """
    found = np.zeros(len(steer_rad))
    way, start, furthest = 0.0, 0, 0
    for i, now in enumerate(steer_rad.tolist()):
        beyond = now - steer_rad[furthest]
        if way == 0.0:
            if abs(now - steer_rad[start]) >= TURNED_RAD:
                way, furthest = math.copysign(1.0, now - steer_rad[start]), i
        elif beyond * way >= 0.0:
            furthest = i
        elif -beyond * way >= TURNED_RAD:
            found[start : furthest + 1] = way
            way, start, furthest = -way, furthest + 1, i
    found[start:] = way
    return found


def overlap_rad(steer_rad: F64, way: F64) -> float:
    """Return how much of the steering was passed both ways, 0 with too few readings."""
    out, back = steer_rad[way > 0], steer_rad[way < 0]
    if min(len(out), len(back)) < FEWEST_EACH_WAY:
        return 0.0
    return float(max(0.0, min(out.max(), back.max()) - max(out.min(), back.min())))


def closure_of(fit: Refined, side: int, limits: SweepLimits, *, stated: bool) -> Closure | None:
    """Return the closure of one side's readings; None where there is no way back to tell by."""
    sweep = fit.sweeps[side]
    way = ways(sweep.steer_rad)
    if overlap_rad(sweep.steer_rad, way) < limits.span_rad:
        return None
    channels = len(fit.residuals[side])
    columns = np.zeros((channels, channels, len(sweep)))
    for channel in range(channels):
        columns[channel, channel] = -way / 2.0
    extra = extra_unknowns(fit, side, columns, stated=stated)
    if extra is None:
        return None
    gaps = [
        Gap(name, *map(float, told))
        for name, *told in zip(CHANNELS, extra.values, extra.u, extra.chance, strict=False)
    ]
    return Closure(extra.explained, *gaps)


def refuse_open(closure: Closure, limits: SweepLimits) -> None:
    """Raise ``MeasurementRefused`` (``not-closed``) where out and back differ beyond the limit."""
    for gap in closure.gaps:
        if abs(gap.rad) <= limits.closure_rad or abs(gap.rad) <= gap.chance_rad:
            continue
        raise MeasurementRefused(
            "not-closed",
            f"out and back {gap.channel} differs by {math.degrees(abs(gap.rad)):.3f} deg at the "
            f"same steering, limit {math.degrees(limits.closure_rad):.3f} deg; the brake or the "
            "head's lock slipped, or the steering reads late: hold the brake, lock the head, steer "
            "slowly and sweep again",
            figure=math.degrees(abs(gap.rad)),
            limit=math.degrees(limits.closure_rad),
        )
