"""How much further to roll: on a floor, more readings alone do not help, a longer way does."""

import math

import numpy as np
from numpy.typing import NDArray

from calibration.harmonics import harmonic_matrix
from ingest.geometry.arc import FURTHEST_RAD
from ingest.geometry.terms import TurnTerms

F64 = NDArray[np.float64]

STEP_RAD = math.radians(15.0)
MOST_ROWS = 120
"""So many readings of a turn are enough to weigh its angles."""
LEAST_WAY_RAD = 1e-3


def further_rolled_rad(
    spin_rad: F64, sigma_rad: float, terms: TurnTerms, u_rad: float
) -> float | None:
    """Return how much further to roll until the axis' elevation is known to ``u_rad``.

    That of a free fit: what is known of the clamp's centring may allow less. 0 when it is enough
    already; None when two full turns in all would not be, or when nothing has turned yet.

    Args:
        spin_rad: spin angles so far in order of time, shape (n,).
        sigma_rad: standard deviation of one reading.
        terms: floor and drift.
        u_rad: the standard uncertainty asked for.
    """
    if len(spin_rad) < 2:
        return None
    so_far = np.unwrap(spin_rad)
    way = float(so_far[-1] - so_far[0])
    if abs(way) < LEAST_WAY_RAD:
        return None
    density = len(so_far) / abs(way)
    for further in np.arange(0.0, FURTHEST_RAD - abs(way), STEP_RAD):
        whole = np.linspace(so_far[0], so_far[-1] + math.copysign(further, way), MOST_ROWS)
        readings = density * (abs(way) + further)
        if _u_rad(whole, sigma_rad * math.sqrt(MOST_ROWS / readings), terms) <= u_rad:
            return float(further)
    return None


def _u_rad(spin_rad: F64, sigma_rad: float, terms: TurnTerms) -> float:
    """Return the uncertainty of the constant of a free fit, even readings."""
    matrix = harmonic_matrix(spin_rad, (1,))
    row = np.linalg.pinv(matrix.T @ matrix, hermitian=True)[0] @ matrix.T
    noise = sigma_rad**2 * float(row @ row)
    return math.sqrt(noise + float(np.square(terms.shapes(spin_rad) @ row).sum()))
