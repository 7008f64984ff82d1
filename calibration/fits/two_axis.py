"""A head with two tilt axes: steps, reversal and oven in one fit. A sphere needs the third.

The model is that of ``combined`` without the upright axis: ``s_raw = b + b' dT + A s_true``;
what gravity's own share adds across the axes is one with the bias.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.combined import drift_columns
from calibration.fits.effects import considering
from calibration.fits.placed import Placed, Plates
from calibration.fits.result import Fit, solve_model
from calibration.fits.seats import askew

ANY = NDArray[Any]

HEAD = ("bias x", "bias y", "m xx", "m xy", "m yx", "m yy")
DRIFT = ("bias x per degC", "bias y per degC", "scale x per degC", "scale y per degC")


def fit_two_axes(
    placed: Sequence[Placed],
    *,
    thermal: bool,
    u_drift: Sequence[float] = (),
    u_askew_rad: float = 0.0,
    sigma: float | None = None,
) -> Fit:
    """Fit bias, matrix and drift of two axes; raw readings of shape (n, 2).

    ``u_drift`` (of ``DRIFT``) and ``u_askew_rad``: as for ``combined.fit_tilt``.

    Raises:
        BadBenchData: no readings, or no convergence.
    """
    if not placed:
        raise BadBenchData("tilt", "there are no readings", "take step and reversal readings")
    plates, drift = Plates.of(placed), DRIFT if thermal else ()
    tilts = [f"{way} {p.name}" for p in placed for way in ("along", "across")]
    names = (*HEAD, *drift, *tilts)

    def model(x: ANY) -> ANY:
        sets, count = x.shape[:-1], x.shape[-1] - len(HEAD) - len(tilts)
        slopes = np.zeros((*sets, 4), dtype=x.dtype)
        slopes[..., :count] = x[..., 6 : 6 + count]
        true = plates.true(x[..., 6 + count :])[..., :2]
        above = plates.above_degc[:, None]
        unscaled = true / (1.0 + slopes[..., None, 2:] * above)
        gain = np.linalg.inv(x[..., 2:6].reshape(*sets, 2, 2)).swapaxes(-1, -2)
        raw: ANY = x[..., None, :2] + slopes[..., None, :2] * above + unscaled @ gain
        return raw.reshape(*sets, -1)

    start = np.zeros(len(names))
    start[2] = start[5] = 1.0
    readings = np.concatenate([p.raw.ravel() for p in placed])
    rows = [f"{p.name} {i + 1}" for p in placed for i in range(len(p.raw))]
    labels = [f"{row}, axis {axis}" for row in rows for axis in "xy"]
    fit = solve_model(model, start, readings, names, sigma=sigma, labels=labels)
    at = np.where(np.isnan(fit.values), start, fit.values)
    if u_askew_rad:
        fit = askew(fit, placed, np.linalg.inv(at[2:6].reshape(2, 2)), u_askew_rad)
    if thermal or not u_drift:
        return fit
    return considering(fit, drift_columns(model, at, len(HEAD), len(DRIFT)), np.array(u_drift))
