"""Which readings of a linear fit are gross outliers.

The procedure: fit all rows by least squares. Where nothing looks like an outlier, that is all.
Otherwise start robustly (least absolute residuals), then alternate between fitting the rows
kept by least squares and asking of every row whether it fits them, until nothing changes.
The last fit is plain least squares, so clean data lose next to nothing.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

F64 = NDArray[np.float64]
MASK = NDArray[np.bool_]

MIN_ROWS = 8
"""With fewer rows nothing is rejected: there is too little to tell an outlier by."""

LEVEL = 0.02
"""Chance that clean normal data lose any row at all (shared out among rows and channels)."""

FEW = 30
"""With fewer rows than this the robust start is always run, since few hide each other easily."""

LEVEL_OF_FEW = 0.01
"""The chance for few rows: losing a good one there costs the interval its coverage."""

MOMENTS = 2.5
"""The robust start is run when skewness or kurtosis of the residuals is this many of its own
standard deviations away from normal: several bad rows together stretch the fit and the scale
until none of them stands out, but not the shape."""

START = 3.5
"""The robust start keeps rows within this many robust scales."""

ROUNDING = 1e-12
"""Residuals below this part of the largest reading are rounding, not outliers."""

TINY = 1e-60
"""Keeps a channel of zeros from dividing by zero."""

LEAST_INFORMATION = 1e-6
"""Smallest eigenvalue of the kept rows' information, where that of all rows is 1."""

ROBUST_PASSES = 10
REFIT_PASSES = 12


def kept_rows(basis: F64, y: F64) -> MASK:
    """Return which rows belong to the fit, shape (n,).

    Args:
        basis: orthonormal basis of the design's columns, shape (n, p).
        y: readings, shape (n, m); a row is one reading of all channels and goes as a whole.
    """
    n, p = basis.shape
    everything = np.ones(n, dtype=np.bool_)
    if n < MIN_ROWS or n < p + 3:
        return everything
    floor = np.maximum(ROUNDING * np.abs(y).max(axis=0), TINY)
    leverage = np.einsum("ij,ij->i", basis, basis)
    residuals = y - basis @ (basis.T @ y)
    spread = np.sqrt(np.maximum(1.0 - leverage, 1e-9))[:, None]
    if not _suspicious(residuals / spread, p, floor):
        return everything
    return _refine(basis, y, _robust_start(basis, y, floor), floor)


def _suspicious(scaled: F64, p: int, floor: F64) -> bool:
    """Say whether anything looks like an outlier; a false alarm only costs the robust start."""
    n, m = scaled.shape
    if n < FEW:
        return True
    squared = np.square(scaled)
    variance = np.maximum(squared.sum(axis=0) / n, np.square(floor))
    # The largest ratio to the usual scale has a bound below n (Grubbs): from a t value.
    limit = _limit(n - p - 1, n, m)
    if (squared.max(axis=0) > limit**2 * (n - p) / (n - p - 1 + limit**2) * variance).any():
        return True
    skewness = np.einsum("ij,ij->j", squared, scaled) / n / variance**1.5
    kurtosis = np.einsum("ij,ij->j", squared, squared) / n / variance**2 - 3.0
    far = np.maximum(np.abs(skewness) / math.sqrt(6.0 / n), kurtosis / math.sqrt(24.0 / n))
    return bool((far > MOMENTS).any())


def _level(rows: int) -> float:
    return LEVEL_OF_FEW if rows < FEW else LEVEL


def _limit(dof: int, rows: int, channels: int) -> float:
    """Return the t value that the largest of all clean residuals exceeds with the chance."""
    share = _level(rows) / (rows * channels)
    return float(special.stdtrit(dof, 1.0 - share / 2.0))


def _robust_start(basis: F64, y: F64, floor: F64) -> MASK:
    """Keep the rows near a least-absolute-residuals fit, found by weighted least squares."""
    p = basis.shape[1]
    residuals = y - basis @ (basis.T @ y)
    for _ in range(ROBUST_PASSES):
        size = np.abs(residuals)
        least = np.maximum(0.1 * _median(size), floor)
        weighted = basis.T[None, :, :] / np.maximum(size, least).T[:, None, :]
        right = np.matmul(weighted, y.T[:, :, None])
        residuals = y - basis @ np.linalg.solve(weighted @ basis, right)[:, :, 0].T
    size = np.abs(residuals)
    # p rows are fitted nearly exactly by a least-absolute fit and say nothing about the scale.
    scale = 1.4826 * _median(np.sort(size, axis=0)[p:])
    near: MASK = size <= np.maximum(START * scale, floor)
    kept: MASK = np.logical_and.reduce(near, axis=1)
    return kept


def _median(size: F64) -> F64:
    """Return the upper median of each column (numpy's own takes longer than the fit)."""
    middle = size.shape[0] // 2
    row: F64 = np.partition(size, middle, axis=0)[middle]
    return row


def _refine(basis: F64, y: F64, kept: MASK, floor: F64) -> MASK:
    """Alternate least squares on the kept rows with a t test of every row against them."""
    n, p = basis.shape
    for _ in range(REFIT_PASSES):
        if int(kept.sum()) < p + 2 or not _determines(basis[kept]):
            return np.ones(n, dtype=np.bool_)
        fitting = _fitting_rows(basis, y, kept, floor)
        if np.array_equal(fitting, kept):
            break
        kept = fitting
    return kept


def _determines(inside: F64) -> bool:
    """Say whether rows of the basis alone still determine the fit.

    Where most readings stand at one angle, those few at the others are never outliers to be
    left out: without them there is no fit to hold anything against.
    """
    return bool(np.linalg.eigvalsh(inside.T @ inside)[0] > LEAST_INFORMATION)


def _fitting_rows(basis: F64, y: F64, kept: MASK, floor: F64) -> MASK:
    """Return the rows that fit the kept ones; each kept row is held against the others."""
    n, p = basis.shape
    inside = basis[kept]
    cofactor = np.linalg.inv(inside.T @ inside)
    residuals = y - basis @ (cofactor @ (inside.T @ y[kept]))
    leverage = np.einsum("ij,jk,ik->i", basis, cofactor, basis)
    dof = int(kept.sum()) - p
    rss = np.square(residuals[kept]).sum(axis=0)
    # A kept row's residual is short by (1 - leverage); deleted from the fit it would be longer.
    spread = np.where(kept, np.maximum(1.0 - leverage, 1e-9), 1.0 + leverage)[:, None]
    squared = np.square(residuals) / spread
    rest = np.where(kept[:, None], np.maximum(rss - squared, 0.0) / (dof - 1), rss / dof)
    limit = _limit(dof - 1, n, y.shape[1])
    fits: MASK = (squared <= np.maximum(limit**2 * rest, np.square(floor))).all(axis=1)
    return fits
