"""Warm-up and temperature drift from a still recording: ``c + a exp(-t/tau) + k (T - T0)``."""

import numpy as np
from numpy.typing import NDArray

from calibration.fits.result import Fit, solve, solve_model

F64 = NDArray[np.float64]
C128 = NDArray[np.complex128]

NAMES = ("settled", "warm-up", "tau", "per degC")


def fit_warmup(
    time_s: F64, y: F64, temperature_degc: F64, reference_degc: float, *, sigma: float | None = None
) -> Fit:
    """Fit settled value, warm-up amplitude, time constant in s and drift per degree.

    White noise is assumed: of a drifting recording take block means about as long as the
    Allan deviation falls. A temperature that never moves leaves ``per degC`` open.

    Args:
        time_s: from switching on, shape (n,), with readings and temperatures.
    """
    above = temperature_degc - reference_degc

    def model(x: C128) -> C128:
        settled, size, tau, slope = np.moveaxis(x[..., None], -2, 0)
        value: C128 = settled + size * np.exp(-time_s / tau) + slope * above
        return value

    return solve_model(model, _start(time_s, y, above), y, NAMES, sigma=sigma)


def _start(time_s: F64, y: F64, above: F64) -> F64:
    """Take the best of a grid of time constants; the rest is linear for each."""
    span = float(np.ptp(time_s))
    tried = []
    for tau in np.geomspace(span / 100, span * 2, 24):
        design = np.column_stack([np.ones(len(y)), np.exp(-time_s / tau), above])
        fit = solve(design, y, ("settled", "warm-up", "per degC"))
        c, a, k = np.nan_to_num(fit.values)
        tried.append((float(fit.residuals @ fit.residuals), [c, a, tau, k]))
    return np.array(min(tried)[1])
