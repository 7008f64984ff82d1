"""Linear least squares with one design for several channels."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import NotEnoughRotation
from calibration.outliers import kept_rows

F64 = NDArray[np.float64]
MASK = NDArray[np.bool_]

MAX_CONDITION = 1e4
"""Above this condition number the readings do not determine the fit."""


@dataclass(frozen=True, slots=True)
class Design:
    """A design matrix, factored once.

    ``matrix`` has shape (n, p); ``basis`` (n, p) spans the same columns and is orthonormal;
    ``inverse`` (p, n) is the pseudo-inverse; ``cofactor`` (p, p) is the unscaled covariance of
    the coefficients (times the variance of one reading: their covariance); ``condition`` is
    that of the matrix with its columns scaled to equal length.
    """

    matrix: F64
    basis: F64
    inverse: F64
    cofactor: F64
    condition: float

    @property
    def rows(self) -> int:
        """Number of readings n."""
        return len(self.matrix)

    @property
    def size(self) -> int:
        """Number of coefficients p."""
        return len(self.cofactor)


def factor(matrix: F64, *, max_condition: float = MAX_CONDITION) -> Design:
    """Factor a design matrix of shape (n, p) by singular values of the scaled columns.

    Raises:
        NotEnoughRotation: fewer readings than coefficients, or worse conditioned than allowed.
    """
    n, p = matrix.shape
    if n < p:
        raise NotEnoughRotation(math.inf, max_condition)
    length = np.sqrt(np.einsum("ij,ij->j", matrix, matrix))
    if not length.all():
        raise NotEnoughRotation(math.inf, max_condition)
    basis, singular, vt = np.linalg.svd(matrix / length, full_matrices=False)
    condition = float(singular[0] / singular[-1]) if singular[-1] > 0 else math.inf
    if not condition <= max_condition:
        raise NotEnoughRotation(condition, max_condition)
    root = (vt.T / singular) / length[:, None]
    return Design(matrix, basis, root @ basis.T, root @ root.T, condition)


@dataclass(frozen=True, slots=True)
class LinearFit:
    """A least-squares fit of m channels at once.

    ``design`` is that of the rows kept; ``coefficients`` have shape (p, m); ``residuals``
    (n, m) are reading minus fit, for the rejected rows too; ``kept`` (n,) is False for rejected
    rows; ``rss`` (m,) is the sum of squared residuals of the rows kept; ``dof`` counts one
    channel; ``sigma`` (m,) is the residual standard deviation with those degrees of freedom,
    NaN where there are none.
    """

    design: Design
    coefficients: F64
    residuals: F64
    kept: MASK
    rss: F64
    dof: int
    sigma: F64

    @property
    def rejected(self) -> tuple[int, ...]:
        """Indices of the rejected rows, from 0."""
        return tuple(np.flatnonzero(~self.kept).tolist())

    def covariance(self, channel: int = 0, *, sigma: float | None = None) -> F64:
        """Return the covariance of one channel's coefficients, shape (p, p).

        ``sigma`` is the standard deviation of one reading where it is known from elsewhere;
        without it the residuals give it.
        """
        spread = float(self.sigma[channel]) if sigma is None else sigma
        result: F64 = self.design.cofactor * spread**2
        return result


def fit_linear(design: Design, y: F64, *, reject: bool = False) -> LinearFit:
    """Fit ``y = matrix @ coefficients`` by least squares.

    Args:
        design: factored design of n rows.
        y: readings, shape (n, m) or (n,), finite.
        reject: find gross outliers and leave their rows out (see ``kept_rows``).

    Raises:
        NotEnoughRotation: the rows that are left do not determine the fit.
    """
    y = y[:, None] if y.ndim == 1 else y
    kept = kept_rows(design.basis, y) if reject else np.ones(design.rows, dtype=np.bool_)
    whole = bool(kept.all())
    used = design if whole else factor(design.matrix[kept])
    coefficients = used.inverse @ (y if whole else y[kept])
    residuals = y - design.matrix @ coefficients
    inside = residuals if whole else residuals[kept]
    rss = np.einsum("ij,ij->j", inside, inside)
    dof = used.rows - used.size
    sigma = np.sqrt(rss / dof) if dof else np.full(y.shape[1], math.nan)
    return LinearFit(used, coefficients, residuals, kept, rss, dof, sigma)
