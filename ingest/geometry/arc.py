"""What a turn is worth: arc covered, dilution, and how much further it should go.

Dilution is sqrt(n) times the standard uncertainty of the constant of a free fit, in units of
one reading's: 1 for a full turn or three even stops, 2.3 for half a turn.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    n = len(spin_rad)
    distinct = _distinct(spin_rad)
    condition, dilution = math.inf, math.inf
    if distinct >= FEWEST_STOPS:
        spread = np.linalg.svd(_design(spin_rad), full_matrices=False)
        condition = float(spread[1][0] / spread[1][2])
        dilution = math.sqrt(n) * float(np.linalg.norm(spread[2][:, 0] / spread[1]))
    return TurnWorth(n, covered_arc(spin_rad), distinct, condition, dilution)


def covered_arc(spin_rad: F64) -> float:
    """Return the arc that the angles span: a full turn less the widest gap, rad.

    Readings a few per turn apart that leave no gap wider than the others cover a full turn:
    three even stops do, so the mean step is added once to what lies between the outermost.
    """
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
    so_far = _design(turned)
    more = _design(turned[-1] + step * extra)
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


def _design(spin_rad: F64) -> F64:
    return np.stack([np.ones_like(spin_rad), np.cos(spin_rad), np.sin(spin_rad)], axis=1)


def _distinct(spin_rad: F64) -> int:
    """Count angles that differ from each other, up to three."""
    found: list[float] = []
    for angle in spin_rad:
        if all(abs(math.remainder(angle - f, FULL_TURN_RAD)) > SAME_STOP_RAD for f in found):
            found.append(float(angle))
            if len(found) == FEWEST_STOPS:
                break
    return len(found)
