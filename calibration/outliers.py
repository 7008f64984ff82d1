"""Which readings of a linear fit are gross outliers.

The procedure: fit all rows by least squares. Where nothing looks like an outlier, that is all.
Otherwise start robustly (least absolute residuals), then alternate between fitting the rows
kept by least squares and asking of every row whether it fits them, until nothing changes.
The last fit is plain least squares, so clean data lose next to nothing.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import special

F64 = NDArray[np.float64]
MASK = NDArray[np.bool_]

MIN_ROWS = 8
"""With fewer rows nothing is rejected: there is too little to tell an outlier by."""

LEVEL = 0.05
"""Chance that clean normal data lose any row at all (shared out among rows and channels)."""

SUSPICIOUS = 3.5
"""Residual over the robust scale (1.4826 median) from which the robust start is run."""

ROUNDING = 1e-12
"""Residuals below this part of the largest reading are rounding, not outliers."""

ROBUST_PASSES = 12
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
    floor = ROUNDING * np.abs(y).max(axis=0)
    leverage = np.einsum("ij,ij->i", basis, basis)
    residuals = y - basis @ (basis.T @ y)
    spread = np.sqrt(np.maximum(1.0 - leverage, 1e-9))[:, None]
    if not _suspicious(residuals / spread, p, floor):
        return everything
    return _refine(basis, y, _robust_start(basis, y, floor), floor)


def _suspicious(scaled: F64, p: int, floor: F64) -> bool:
    n, m = scaled.shape
    size = np.abs(scaled)
    robust = np.maximum(1.4826 * np.median(size, axis=0), floor)
    usual = np.maximum(np.sqrt(np.square(size).sum(axis=0) / n), floor)
    # A single bad row in a small set hides from the first test only by swelling the second.
    limit = _limit(n - p - 1, n * m)
    internal = limit * np.sqrt((n - p) / (n - p - 1 + limit**2))
    return bool((size > SUSPICIOUS * robust).any() or (size > internal * usual).any())


def _limit(dof: int, tests: int) -> float:
    """Return the t value that one of ``tests`` clean residuals exceeds with chance LEVEL."""
    return float(special.stdtrit(dof, 1.0 - LEVEL / (2.0 * tests)))


def _robust_start(basis: F64, y: F64, floor: F64) -> MASK:
    """Keep the rows within 3.5 robust scales of a least-absolute-residuals fit."""
    n, p = basis.shape
    kept = np.ones(n, dtype=np.bool_)
    for column, tiny in zip(y.T, floor, strict=True):
        residuals = column - basis @ (basis.T @ column)
        for _ in range(ROBUST_PASSES):
            scale = max(float(np.median(np.abs(residuals))), float(tiny))
            weights = 1.0 / np.maximum(np.abs(residuals), 0.1 * scale)
            weighted = basis.T * weights
            residuals = column - basis @ np.linalg.solve(weighted @ basis, weighted @ column)
        # p rows are fitted exactly by a least-absolute fit and say nothing about the scale.
        size = np.sort(np.abs(residuals))[p:]
        scale = max(1.4826 * float(np.median(size)), float(tiny))
        kept &= np.abs(residuals) <= SUSPICIOUS * scale
    return kept


def _refine(basis: F64, y: F64, kept: MASK, floor: F64) -> MASK:
    """Alternate least squares on the kept rows with a t test of every row against them."""
    n, p = basis.shape
    for _ in range(REFIT_PASSES):
        rows = int(kept.sum())
        if rows < p + 2:
            return np.ones(n, dtype=np.bool_)
        fitting = _fitting_rows(basis, y, kept, floor)
        if np.array_equal(fitting, kept):
            break
        kept = fitting
    return kept


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
    limit = _limit(dof - 1, n * y.shape[1])
    fits: MASK = (squared <= np.maximum(limit**2 * rest, np.square(floor))).all(axis=1)
    return fits
