"""A sweep to one side: what it cannot tell of a roll of the axle that is not fitted.

Steered to both sides, a roll bends the tilts as no steering axis does, which proves it; and it
leaves SAI alone. Steered to one side, a beam axle of caster 4 and SAI 7 that rolls by 0.16 deg at
20 deg puts SAI 0.08 deg too high and caster 0.45 deg too low, and hardly shows in the readings.
What they leave possible is carried into caster, SAI and camber. A zero or a scale of the steering,
a tilt that is off and a bay that is not level do the same to one side as to two, and a slip of
brake or lock has its own term (``slip``).
"""

import math

import numpy as np
from numpy.typing import NDArray

from calibration.reporting import t_factor
from ingest.geometry.sweep.contradiction import extra_unknowns
from ingest.geometry.sweep.motion import AXIS, ROLL, TAN_CASTER, TAN_SAI
from ingest.geometry.sweep.refine import Refined

F64 = NDArray[np.float64]

LEAST_SHARE = 0.5
"""Of the further lock: steered to the other side by less, a sweep is one to one side."""
ONE_SIDED_SHARE = 0.3
"""From here down the roll counts in full, and up to ``LEAST_SHARE`` less and less."""
MOST_ROLL = 0.012
"""rad a rad. Where the readings do not tell, an axle is taken to roll no more: half as much again
as one of scrub radius 60 mm whose kingpin's line runs through the wheel's middle (ours)."""
COVER = 0.95


def one_sidedness(steer_rad: F64) -> float:
    """Return by how much a sweep is one to one side: 0 to two sides, 1 to one."""
    locks = float(steer_rad.max()), -float(steer_rad.min())
    if max(locks) <= 0.0:
        return 1.0
    share = max(min(locks), 0.0) / max(locks)
    return min(max((LEAST_SHARE - share) / (LEAST_SHARE - ONE_SIDED_SHARE), 0.0), 1.0)


def roll_left_open(fit: Refined, side: int, *, stated: bool) -> F64:
    """Return how far off a roll may put tan caster, tan SAI and the shaft's elevation, shape (3,).

    With a chance of ``COVER``, and with the signs that one roll gives them. Nothing where the roll
    is fitted, or where a sweep went to both sides.

    Args:
        fit: the settled fit.
        side: of which wheel.
        stated: the residuals are whitened by noise that is known.
    """
    weight = one_sidedness(fit.sweeps[side].steer_rad)
    if ROLL in fit.free[side] or weight == 0.0:
        return np.zeros(3)
    column = fit.by_unknowns[side][:, :, ROLL]
    start = sum(each.size for each in fit.residuals[:side])
    places = [fit.places[side][fit.free[side].index(at)] for at in (TAN_CASTER, TAN_SAI, AXIS)]
    moves = fit.gain[places, start : start + column.size] @ fit.weights[side].whiten(column)
    return np.asarray(weight * _possible(fit, side, column, stated=stated) * moves)


def _possible(fit: Refined, side: int, column: F64, *, stated: bool) -> float:
    """Return the largest roll that the readings leave possible, rad a rad."""
    found = None if fit.dof < 1 else extra_unknowns(fit, side, column[None], stated=stated)
    if found is None or math.isnan(found.u[0]):
        return MOST_ROLL
    size = abs(float(found.values[0]))
    free = math.inf if stated else max(fit.dof - 1.0, 1.0)
    possible = size + t_factor(COVER, free) * float(found.u[0])
    return min(possible, max(MOST_ROLL, size))
