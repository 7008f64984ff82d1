"""Effects of known size that a fit's model leaves out: one for many rows, or one for each row."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.fits.result import Fit, beside, column_basis, lengths, pseudo

F64 = NDArray[np.float64]

SEEN = 0.01
"""Less than this share of a stated effect beside the model is none: it tells no scatter apart."""


def considering(fit: Fit, columns: F64, u: F64) -> Fit:
    """Return the fit with the doubt of effects that its model leaves out, in the covariance.

    Args:
        columns: what a unit of each effect adds to the readings, shape (n, q).
        u: standard uncertainty of each effect, shape (q,).

    An effect moves the coefficients by ``J+ column`` (law of propagation, GUM 5.1.2); the
    readings' own scatter does not show it, as it is the same in many of them.
    """
    moves = np.array([pseudo(fit.jacobian, column)[0] for column in columns.T]).T * u
    covariance = fit.covariance + moves @ moves.T
    stated = fit.stated * fit.covariance.diagonal() + np.square(moves).sum(axis=1)
    share: F64 = np.zeros_like(stated)
    np.divide(stated, covariance.diagonal(), out=share, where=covariance.diagonal() > 0)
    return replace(fit, covariance=covariance, stated=share)


def allowing(fit: Fit, columns: F64, u: F64) -> Fit:
    """Return the fit where some rows hold an effect of their own, drawn anew for each of them.

    Args:
        columns: what a unit of each effect adds to the readings, shape (n, q).
        u: stated standard uncertainty of each effect, shape (q,).

    The scatter is what is left when every effect is free, so that it is right whatever was stated;
    what was stated counts in the covariance, and in what a row may be off by. With too few rows
    for that the scatter stays as it is, with the effects in it.
    """
    if not columns.size:
        return fit
    sigma, dof = fit.sigma, fit.dof
    if math.isfinite(dof):
        seen, left = scatter_beside(fit, columns)
        sigma, dof = (seen, left) if left > 0 else (sigma, dof)
    covariance = np.where(np.isnan(fit.covariance), math.nan, _cofactor(fit) * sigma**2)
    parted = replace(fit, sigma=sigma, dof=dof, covariance=covariance, effects=columns * u)
    return considering(parted, columns, u)


def scatter_beside(fit: Fit, columns: F64) -> tuple[float, float]:
    """Return the standard deviation of a row, and its degrees of freedom, with effects left free.

    ``columns`` (n, q) is what they add to the readings; NaN with no degree of freedom.
    """
    basis = column_basis(fit.jacobian)
    alone, sizes, _ = np.linalg.svd(beside(basis, columns / lengths(columns)))
    own = alone[:, : sizes.size][:, sizes > SEEN]
    left = fit.residuals.size - basis.shape[1] - own.shape[1]
    rest = beside(own, fit.residuals)
    return (math.sqrt(float(rest @ rest) / left) if left > 0 else math.nan), float(left)


def _cofactor(fit: Fit) -> F64:
    return pseudo(fit.jacobian, fit.residuals)[1]
