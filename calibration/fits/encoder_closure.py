"""An encoder by circle closure alone: nothing known but that positions repeat.

A dividing plate with unknown positions is gone through several times, the encoder started
elsewhere each time: ``raw = start_i + position_j + error(raw)``. The zero stays open, and so
does a harmonic that the plate's division repeats (K positions and order K), unless they are
uneven. Positions and starts are unknowns of the same linear fit.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.encoder_turn import ORDERS, harmonic_names
from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, solve
from calibration.harmonics import harmonic_matrix

F64 = NDArray[np.float64]


def fit_closure(raw_rad: F64, *, orders: Sequence[int] = ORDERS, sigma: float | None = None) -> Fit:
    """Fit harmonics from unwrapped readings of shape (starts, positions).

    Raises:
        BadBenchData: fewer than 2 starts or 3 positions.
    """
    if raw_rad.ndim != 2 or raw_rad.shape[0] < 2 or raw_rad.shape[1] < 3:
        raise BadBenchData("closure", "2 starts and 3 positions at least", "go round again")
    starts, positions = raw_rad.shape
    names = (
        "zero",
        *harmonic_names(orders),
        *(f"start {i + 1}" for i in range(starts)),
        *(f"position {j + 1}" for j in range(1, positions)),
    )
    labels = [f"start {i + 1}, position {j + 1}" for i in range(starts) for j in range(positions)]
    return solve(_design(raw_rad, orders), raw_rad.ravel(), names, sigma=sigma, labels=labels)


def next_start(
    raw_rad: F64, candidates_rad: Sequence[float], *, orders: Sequence[int] = ORDERS
) -> Suggestion:
    """Return from which further raw angle to start the plate's next round."""
    steps = (raw_rad - raw_rad[:, :1]).mean(axis=0)
    more = [np.vstack([raw_rad, start + steps]) for start in candidates_rad]
    whole = [_design(angles, orders) for angles in more]
    # Each round brings an unknown of its own, so the rounds taken are laid out with it.
    width = raw_rad.size
    return suggest(whole[0][:width], [rows[width:] for rows in whole])


def _design(raw_rad: F64, orders: Sequence[int]) -> F64:
    starts, positions = raw_rad.shape
    start = np.repeat(np.eye(starts), positions, axis=0)
    position = np.tile(np.eye(positions)[:, 1:], (starts, 1))
    harmonics = harmonic_matrix(raw_rad.ravel(), orders)
    harmonics[:, 0] = 0.0  # closure never shows the zero, and so it is named as open
    return np.hstack([harmonics, start, position])
