"""Backlash and hysteresis: the same positions approached from both sides."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, solve
from calibration.harmonics import harmonic_matrix

F64 = NDArray[np.float64]

NAMES = ("backlash", "cos 1", "sin 1")


def fit_backlash(
    position_rad: F64, up_rad: F64, down_rad: F64, *, sigma: float | None = None
) -> Fit:
    """Fit ``down - up`` (approached falling minus rising): its mean and its change over a turn.

    ``sigma`` is that of one difference (the square root of 2 times that of one reading). On
    fewer than three positions that are not spread over a turn the change stays open.

    Args:
        position_rad, up_rad, down_rad: shape (n,).

    Raises:
        BadBenchData: the readings are not paired.
    """
    if not position_rad.shape == up_rad.shape == down_rad.shape:
        raise BadBenchData("backlash", "readings up and down are not paired", "repeat the series")
    gap = np.angle(np.exp(1j * (down_rad - up_rad)))
    return solve(harmonic_matrix(position_rad, (1,)), gap, NAMES, sigma=sigma)


def hysteresis_rad(up_rad: F64, down_rad: F64) -> float:
    """Return the largest gap between the two ways, as seen (noise included)."""
    return float(np.abs(np.angle(np.exp(1j * (down_rad - up_rad)))).max())


def next_backlash(position_rad: F64, candidates_rad: Sequence[float]) -> Suggestion:
    """Return at which further position to read both ways."""
    rows = [harmonic_matrix(np.array([angle]), (1,)) for angle in candidates_rad]
    return suggest(harmonic_matrix(position_rad, (1,)), rows)
