"""Gravity-sphere fit of a three-axis sensor: ``|M (s - b)| = 1`` in every attitude.

No reference is needed, but the sphere fixes M only up to a rotation: M is taken symmetric
here (the rotation that is left is nil on the sensor's own axes). What turns the sensor in its
housing comes from steps or the bar. Lengths of residuals are first order (Sampson): the
distance from the ellipsoid in raw units, so equal noise on all axes weighs equally.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, Model, also_open, derivative, solve_model

F64 = NDArray[np.float64]

BIAS = ("bias x", "bias y", "bias z")
SCALE = ("m xx", "m yy", "m zz")
CROSS = ("m xy", "m xz", "m yz")
NAMES = BIAS + SCALE + CROSS
ROTATION = ("turn of the sensor about x", "turn about y", "turn about z")
"""What no set of attitudes on the sphere determines."""
FULL = 9
"""Attitudes from which cross-axis terms are fitted; with fewer, bias and scale alone."""
BIAS_AND_SCALE = 6
"""Attitudes from which bias and scale are told."""

LEAST_SPAN = 0.2
"""Part of gravity over which every axis must have moved for a fit to start."""


def fit_sphere(raw: F64, *, sigma: float | None = None) -> Fit:
    """Fit bias, scale and, from 9 attitudes, cross-axis terms.

    Args:
        raw: mean readings at rest in units of local gravity (sines), shape (n, 3), n >= 6.
        sigma: standard deviation of one axis in one row, where known.

    Raises:
        BadBenchData: fewer than 6 attitudes, too close together, or no convergence.
    """
    if raw.ndim != 2 or raw.shape[1] != 3 or len(raw) < BIAS_AND_SCALE:
        raise BadBenchData("attitudes", "at least 6 of three axes are needed", "take more")
    if not (np.ptp(raw, axis=0) >= LEAST_SPAN).all():
        raise BadBenchData("attitudes", "they do not span all three axes", "tip the head further")
    free = 9 if len(raw) >= FULL else 6
    start = np.array([*(raw.max(axis=0) + raw.min(axis=0)) / 2, 1.0, 1.0, 1.0, 0, 0, 0])
    labels = [f"attitude {i + 1}" for i in range(len(raw))]
    distance = _distance(raw, free)
    fit = solve_model(distance, start, np.zeros(len(raw)), NAMES, sigma=sigma, labels=labels)
    return also_open(fit, ROTATION)


def matrix_of(fit: Fit) -> F64:
    """Return the symmetric M, shape (3, 3); cross-axis terms not fitted count as nil."""
    nominal = [0, 0, 0, 1, 1, 1, 0, 0, 0]
    return np.real(symmetric(np.where(np.isnan(fit.values), nominal, fit.values)[3:9]))


def next_attitude(fit: Fit, candidates: Sequence[F64]) -> Suggestion:
    """Return which true gravity direction (unit vectors, (3,)) to take next."""
    values = np.where(np.isnan(fit.values), [0, 0, 0, 1, 1, 1, 0, 0, 0], fit.values)
    inverse, bias = np.linalg.inv(np.real(symmetric(values[3:9]))), values[:3]
    raw = [(inverse @ g + bias)[None] for g in candidates]
    return suggest(fit.jacobian, [derivative(_distance(row, 9), values) for row in raw])


WHERE = np.array([[0, 3, 4], [3, 1, 5], [4, 5, 2]])
"""Which of scale and cross-axis terms stands where in M."""


def symmetric(x: NDArray[np.complex128] | F64) -> NDArray[np.complex128]:
    """Return M, shape (..., 3, 3), from scale and cross-axis terms, shape (..., 6)."""
    return np.asarray(x, dtype=complex)[..., WHERE]


def _distance(raw: F64, free: int) -> Model:
    """Return the model; coefficients from ``free`` on are held at nil."""

    def model(x: NDArray[np.complex128]) -> NDArray[np.complex128]:
        nil = np.zeros((*x.shape[:-1], 9 - free))
        m = symmetric(np.concatenate([x[..., 3:free], nil], axis=-1))
        true = (raw - x[..., None, :3]) @ m.swapaxes(-1, -2)
        length = np.sqrt((true * true).sum(axis=-1))
        slope = (true / length[..., None]) @ m
        distance: NDArray[np.complex128] = (length - 1) / np.sqrt((slope * slope).sum(axis=-1))
        return distance

    return model
