"""A head with two tilt axes: steps, reversal and oven in one fit. A sphere needs the third.

The model is that of ``combined`` without the upright axis: ``s_raw = b + b' dT + A s_true``;
what gravity's own share adds across the axes is one with the bias.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.combined import Placed, Plates
from calibration.fits.result import Fit, solve_model

ANY = NDArray[Any]

HEAD = ("bias x", "bias y", "m xx", "m xy", "m yx", "m yy")
DRIFT = ("bias x per degC", "bias y per degC", "scale x per degC", "scale y per degC")


def fit_two_axes(placed: Sequence[Placed], *, thermal: bool, sigma: float | None = None) -> Fit:
    """Fit bias, matrix and drift of two axes; raw readings of shape (n, 2).

    Raises:
        BadBenchData: no readings, or no convergence.
    """
    if not placed:
        raise BadBenchData("tilt", "there are no readings", "take step and reversal readings")
    plates, drift = Plates.of(placed), DRIFT if thermal else ()
    tilts = [f"{way} {p.name}" for p in placed for way in ("along", "across")]
    names = (*HEAD, *drift, *tilts)

    def model(x: ANY) -> ANY:
        slopes = np.zeros(4, dtype=x.dtype)
        slopes[: len(drift)] = x[6 : 6 + len(drift)]
        true = plates.true(x[6 + len(drift) :])[:, :2]
        above = plates.above_degc[:, None]
        unscaled = true / (1.0 + slopes[2:] * above)
        raw: ANY = x[:2] + slopes[:2] * above + unscaled @ np.linalg.inv(x[2:6].reshape(2, 2)).T
        return raw.ravel()

    start = np.zeros(len(names))
    start[2] = start[5] = 1.0
    readings = np.concatenate([p.raw.ravel() for p in placed])
    rows = [f"{p.name} {i + 1}" for p in placed for i in range(len(p.raw))]
    labels = [f"{row}, axis {axis}" for row in rows for axis in "xy"]
    return solve_model(model, start, readings, names, sigma=sigma, labels=labels)
