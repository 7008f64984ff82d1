"""What a turn is worth: arc covered, dilution, and how much further it should go.

Dilution is sqrt(n) times the standard uncertainty of the constant of a free fit, in units of
one reading's: 1 for a full turn or three even stops, 2.3 for half a turn.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.harmonics import design, dilution, harmonic_matrix

F64 = NDArray[np.float64]

FULL_TURN_RAD = 2.0 * math.pi
FEWEST_STOPS = 3
SAME_STOP_RAD = math.radians(0.5)
"""Readings closer together than this count as taken at one stop."""
FURTHEST_RAD = 2.0 * FULL_TURN_RAD
"""No turn is planned longer than this."""


@dataclass(frozen=True, slots=True)
class TurnWorth:
    """What the angles of a turn allow, before any tilt is read.

    ``arc_rad`` is the part of the circle from first to last angle, passing over the widest gap
    (at most a full turn). ``distinct`` counts different angles, at most three. ``condition``
    and ``dilution`` are infinite while the angles do not determine a fit.
    """

    n: int
    arc_rad: float
    distinct: int
    condition: float
    dilution: float


def turn_worth(spin_rad: F64) -> TurnWorth:
    """Return what the angles read so far are worth, shape (n,), any n from 0."""
    arc, distinct = covered_arc(spin_rad), distinct_stops(spin_rad)
    if distinct < FEWEST_STOPS:
        return TurnWorth(len(spin_rad), arc, distinct, math.inf, math.inf)
    factored = design(spin_rad, max_condition=math.inf)
    return TurnWorth(len(spin_rad), arc, distinct, factored.condition, dilution(factored))


def covered_arc(spin_rad: F64) -> float:
    """Return the arc that the angles span: a full turn less the widest gap, rad."""
    if len(spin_rad) < 2:
        return 0.0
    ordered = np.sort(np.asarray(spin_rad) % FULL_TURN_RAD)
    gaps = np.diff(ordered, append=ordered[0] + FULL_TURN_RAD)
    return float(FULL_TURN_RAD - gaps.max())


def further_rad(spin_rad: F64, sigma_rad: float, u_rad: float) -> float | None:
    """Return how much further to turn until the constant's uncertainty is at most ``u_rad``.

    The turn is continued in its present direction at its present mean step. 0 when it is
    enough already; None when two full turns in all would not be enough, or when there is no
    step to go by.
    """
    if len(spin_rad) < 2:
        return None
    turned = np.unwrap(spin_rad)
    step = float(turned[-1] - turned[0]) / (len(turned) - 1)
    room = FURTHEST_RAD - abs(float(turned[-1] - turned[0]))
    if abs(step) < 1e-6 or room < 0.0:
        return None
    extra = np.arange(int(room / abs(step)) + 1)
    so_far = harmonic_matrix(turned, (1,))
    more = harmonic_matrix(turned[-1] + step * extra, (1,))
    more[0] = 0.0
    growth = np.cumsum(more[:, :, None] * more[:, None, :], axis=0)
    enough = _constant_variance(so_far.T @ so_far + growth) * sigma_rad**2 <= u_rad**2
    return float(extra[np.argmax(enough)] * abs(step)) if enough.any() else None


def _constant_variance(normal: F64) -> F64:
    """Return the first diagonal element of the inverses of 3x3 normal matrices, shape (m,)."""
    minor = normal[:, 1, 1] * normal[:, 2, 2] - normal[:, 1, 2] ** 2
    determinant = np.linalg.det(normal)
    regular = determinant > 1e-12 * normal[:, 0, 0] ** 3
    return np.where(regular, minor / np.where(regular, determinant, 1.0), np.inf)


def distinct_stops(spin_rad: F64) -> int:
    """Count angles that differ from each other, up to three."""
    found: list[float] = []
    for angle in spin_rad:
        if all(abs(math.remainder(angle - f, FULL_TURN_RAD)) > SAME_STOP_RAD for f in found):
            found.append(float(angle))
            if len(found) == FEWEST_STOPS:
                break
    return len(found)
