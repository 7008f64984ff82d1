"""Zero by reversal (ISO 230-1 practice): turned half round, slope changes sign, zero stays."""

import numpy as np
from numpy.typing import NDArray

from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, solve

F64 = NDArray[np.float64]


def fit_reversal(readings: F64, facing: F64, *, sigma: float | None = None) -> Fit:
    """Fit ``zero`` and ``slope`` of one axis, in the unit of the readings.

    Args:
        readings: shape (n,).
        facing: +1 as marked, -1 turned half round about the vertical, shape (n,).
    """
    return solve(
        np.column_stack([np.ones(len(facing)), facing]), readings, ("zero", "slope"), sigma=sigma
    )


def next_facing(facing: F64) -> Suggestion:
    """Return 0 for as marked, 1 for turned."""
    taken = np.column_stack([np.ones(len(facing)), facing])
    return suggest(taken, [np.array([[1.0, 1.0]]), np.array([[1.0, -1.0]])])
