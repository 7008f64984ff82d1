"""The result that every fit of the bench returns, and the solvers behind it.

Covariances between coefficients are kept (GUM, JCGM 100:2008, F.1.2). A coefficient that the
readings do not determine is NaN and named; the others stay good.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.errors import BadBenchData
from calibration.measured import Measured, from_covariance

F64 = NDArray[np.float64]
Model = Callable[[NDArray[Any]], NDArray[Any]]
"""From coefficients, shape (..., p), to what they foretell, shape (..., n)."""

RANK_TOLERANCE = 1e-7
"""Singular values of the scaled columns below this share of the largest count as none."""
NO_COLUMN = 1e-13
"""A coefficient whose column is this much shorter than the longest moves nothing."""
STEP = 1e-30
"""Imaginary step of the derivative: so small that its square vanishes."""
PASSES = 50
FARTHEST = 1e100
"""A model that foretells this has left the readings, and its squares leave the doubles."""
SUSPICIOUS = 3.29
"""Baarda's limit for one standardised residual, alpha = 0.001 two-sided."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Least-squares coefficients, shapes (p,) and (p, p), from n rows.

    ``jacobian`` (n, p) is that of the model at the solution; ``residuals`` (n,) are reading
    minus model; ``sigma`` is the standard deviation of one row, from the residuals (NaN without
    degrees of freedom) or as stated, in which case ``dof`` is infinite. ``undetermined`` names
    the coefficients that the readings leave open, which are NaN in ``values``. ``effects`` (n, q)
    is what stated effects of one standard uncertainty add to the readings; ``stated`` (p,) the
    share of the variances that comes of such effects rather than of the scatter.
    """

    names: tuple[str, ...]
    values: F64
    covariance: F64
    dof: float
    sigma: float
    residuals: F64
    jacobian: F64
    rank: int
    undetermined: tuple[str, ...]
    labels: tuple[str, ...]
    effects: F64
    stated: F64

    def value(self, name: str) -> float:
        """Return one coefficient, NaN where it is undetermined."""
        return float(self.values[self.names.index(name)])

    def u(self, name: str) -> float:
        """Return the standard uncertainty of one coefficient."""
        i = self.names.index(name)
        return math.sqrt(self.covariance[i, i])

    def expanded(self, name: str, probability: float = 0.95) -> float:
        """Return the half width of the interval for ``probability`` (t factor, GUM G.3)."""
        dof = self.dof_of(name)
        k = (
            special.stdtrit(dof, 0.5 + probability / 2)
            if math.isfinite(dof)
            else (special.ndtri(0.5 + probability / 2))
        )
        return float(k) * self.u(name)

    def dof_of(self, name: str) -> float:
        """Return the effective degrees of freedom of one coefficient (Welch-Satterthwaite)."""
        scattered = 1.0 - float(self.stated[self.names.index(name)])
        return self.dof if scattered == 1.0 else self.dof / max(scattered, 1e-9) ** 2

    def measured(self, names: Sequence[str], *, source: str) -> tuple[Measured, ...]:
        """Return coefficients as correlated ``Measured``.

        Raises:
            ValueError: one is undetermined, or no degree of freedom tells its uncertainty.
        """
        at = [self.names.index(name) for name in names]
        block = self.covariance[np.ix_(at, at)]
        if not np.isfinite(block).all():
            raise ValueError(f"{', '.join(names)}: not all determined with an uncertainty")
        return from_covariance(self.values[at], block, source=source, dof=self.dof)

    def distrusted(self) -> tuple[str, ...]:
        """Return the rows whose residual is too large, worst first (internally studentised)."""
        size = np.abs(self.standardised()) / self._limits()
        return tuple(self.labels[i] for i in np.argsort(-size) if size[i] > 1.0)

    def standardised(self) -> F64:
        """Return residuals over their own standard deviation; 0 for a row nothing controls."""
        free, scale = self.spreads()
        good = (free > 1e-9) & (scale > 0)
        result: F64 = np.zeros_like(scale)
        np.divide(self.residuals, scale, out=result, where=good)
        return result

    def spreads(self) -> tuple[F64, F64]:
        """Return what share of each row the others leave it, and its residual's deviation."""
        basis = column_basis(self.jacobian)
        free = np.maximum(1.0 - np.square(basis).sum(axis=1), 0.0)
        left = beside(basis, self.effects)
        return free, np.sqrt(self.sigma**2 * free + np.square(left).sum(axis=1))

    def _limits(self) -> F64:
        """With few degrees of freedom an internal ratio is bounded (Pope's tau).

        Where stated effects outweigh the scatter, the ratio is all but normal.
        """
        tau = SUSPICIOUS if not math.isfinite(self.dof) else math.inf
        if math.isfinite(self.dof) and self.dof >= 2:
            t = float(special.stdtrit(self.dof - 1, 1 - 0.0005))
            tau = t * math.sqrt(self.dof / (self.dof - 1 + t * t))
        free, scale = self.spreads()
        limits: F64 = np.where(scale**2 > 2.0 * self.sigma**2 * free, SUSPICIOUS, tau)
        return limits


def also_open(fit: Fit, names: Sequence[str]) -> Fit:
    """Return the fit with what no reading of its kind determines named beside the rest."""
    return replace(fit, undetermined=(*fit.undetermined, *names))


def beside(basis: F64, columns: F64) -> F64:
    """Return what of the columns an orthonormal basis does not span."""
    rest: F64 = columns - basis @ (basis.T @ columns)
    return rest


def column_basis(matrix: F64) -> F64:
    """Return an orthonormal basis of the columns, shape (n, rank)."""
    basis, singular, _ = np.linalg.svd(matrix / lengths(matrix), full_matrices=False)
    kept: F64 = basis[:, singular > RANK_TOLERANCE * singular[0]]
    return kept


def solve(
    matrix: F64,
    y: F64,
    names: Sequence[str],
    *,
    sigma: float | None = None,
    labels: Sequence[str] | None = None,
) -> Fit:
    """Fit ``y = matrix @ coefficients``; shapes (n, p) and (n,).

    ``sigma`` is the standard deviation of one row where it is known from elsewhere.

    Raises:
        BadBenchData: no rows, or values that are not finite.
    """
    _check(matrix, y)
    values, cofactor, rank, loose = pseudo(matrix, y)
    return _finish(matrix, y - matrix @ values, values, cofactor, rank, loose, names, sigma, labels)


def solve_model(
    model: Model,
    start: F64,
    y: F64,
    names: Sequence[str],
    *,
    sigma: float | None = None,
    labels: Sequence[str] | None = None,
) -> Fit:
    """Fit ``y = model(coefficients)`` by Gauss-Newton with complex-step derivatives.

    ``model`` must be analytic and take complex coefficients (no abs, no conjugate), many sets of
    them at once. Directions that the readings leave open stay at ``start``.

    Raises:
        BadBenchData: values that are not finite, or no convergence.
    """
    _check(y[:, None], y)
    x = start.astype(np.float64).copy()
    for _ in range(PASSES):
        with np.errstate(over="ignore", invalid="ignore"):
            foretold, slope = _linear(model, x)
            off = y - foretold
        if not (np.abs(slope) < FARTHEST).all() or not (np.abs(off) < FARTHEST).all():
            break
        step, cofactor, rank, loose = pseudo(slope, off)
        x = x + step
        if not np.isfinite(x).all():
            break
        if float(np.abs(step * lengths(slope)).max()) <= 1e-13 * (1 + np.abs(y).max()):
            residuals = y - np.real(model(x.astype(complex)))
            return _finish(slope, residuals, x, cofactor, rank, loose, names, sigma, labels)
    raise BadBenchData("the fit", "does not settle", "check the readings for a gross error")


def derivative(model: Model, at: F64) -> F64:
    """Return the Jacobian (n, p) of an analytic model, exact to rounding."""
    return _linear(model, at)[1]


def _linear(model: Model, at: F64) -> tuple[F64, F64]:
    """Return what an analytic model foretells, shape (n,), and its Jacobian, shape (n, p)."""
    # One set of coefficients for each that is moved: one call, however many there are.
    seen = model(at + 1j * STEP * np.eye(at.size))
    return np.real(seen[0]), np.ascontiguousarray((np.imag(seen) / STEP).T)


def lengths(matrix: F64) -> F64:
    length = np.sqrt(np.square(matrix).sum(axis=0))
    # A column of rounding alone is none: brought to length one it would pass for a real one.
    seen = length > NO_COLUMN * length.max(initial=0.0)
    result: F64 = np.where(seen & (length > 0), length, 1.0)
    return result


def pseudo(matrix: F64, y: F64) -> tuple[F64, F64, int, NDArray[np.bool_]]:
    """Return the solution of least norm, its cofactor, the rank and which are left open."""
    length = lengths(matrix)
    basis, singular, vt = np.linalg.svd(matrix / length, full_matrices=False)
    rank = int((singular > RANK_TOLERANCE * max(float(singular[0]), 1e-300)).sum())
    root = (vt[:rank].T / singular[:rank]) / length[:, None]
    # A coefficient is open where its unit vector does not lie in the row space.
    loose = 1.0 - np.square(vt[:rank]).sum(axis=0) > 1e-9
    return root @ (basis[:, :rank].T @ y), root @ root.T, rank, loose


def _finish(
    matrix: F64,
    residuals: F64,
    values: F64,
    cofactor: F64,
    rank: int,
    loose: NDArray[np.bool_],
    names: Sequence[str],
    sigma: float | None,
    labels: Sequence[str] | None,
) -> Fit:
    free = residuals.size - rank
    seen = math.sqrt(float(residuals @ residuals) / free) if free > 0 else math.nan
    spread = seen if sigma is None else sigma
    covariance = cofactor * spread**2
    covariance[loose, :] = math.nan
    covariance[:, loose] = math.nan
    rows = labels or [f"row {i + 1}" for i in range(residuals.size)]
    return Fit(
        names=tuple(names),
        values=np.where(loose, math.nan, values),
        covariance=covariance,
        dof=float(free) if sigma is None else math.inf,
        sigma=spread,
        residuals=residuals,
        jacobian=matrix,
        rank=rank,
        undetermined=tuple(n for n, open_ in zip(names, loose, strict=True) if open_),
        labels=tuple(rows),
        effects=np.zeros((residuals.size, 0)),
        stated=np.zeros(len(names)),
    )


def _check(matrix: F64, y: F64) -> None:
    if y.size == 0:
        raise BadBenchData("the readings", "there are none", "take some first")
    if not (np.isfinite(matrix).all() and np.isfinite(y).all()):
        raise BadBenchData("the readings", "some are not numbers", "take those rows again")
