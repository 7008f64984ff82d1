"""Bias and scale of one axis over temperature."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, derivative, solve_model

F64 = NDArray[np.float64]
C128 = NDArray[np.complex128]

NAMES = ("bias", "bias per degC", "scale", "scale per degC")


def fit_temperature(
    raw: F64, true: F64, temperature_degc: F64, reference_degc: float, *, sigma: float | None = None
) -> Fit:
    """Fit one axis of the record, ``s_true = m (1 + k dT) (s_raw - b - b' dT)``.

    With the axis level throughout, scale and its drift stay open and are named.

    Args:
        raw, true: sines read and known, shape (n,).
        temperature_degc: shape (n,).
    """
    start = np.array([float(np.mean(raw - true)), 0.0, 1.0, 0.0])
    model = _Axis(true, temperature_degc - reference_degc)
    return solve_model(model, start, raw, NAMES, sigma=sigma)


def next_soak(fit: Fit, above_degc: Sequence[float], true: Sequence[float]) -> Suggestion:
    """Return which pair of temperature above reference and known sine to take next."""
    at = np.where(np.isnan(fit.values), [0.0, 0.0, 1.0, 0.0], fit.values)
    rows = [
        derivative(_Axis(np.array([s]), np.array([t])), at)
        for t, s in zip(above_degc, true, strict=True)
    ]
    return suggest(fit.jacobian, rows, np.array([1.0, 0.02, 1.0, 0.02]))


class _Axis:
    """The readings that the model foretells."""

    def __init__(self, true: F64, above: F64) -> None:
        self._true, self._above = true, above

    def __call__(self, x: C128) -> C128:
        bias, drift, scale, slope = np.moveaxis(x[..., None], -2, 0)
        gain = scale * (1 + slope * self._above)
        raw: C128 = bias + drift * self._above + self._true / gain
        return raw
