"""Harmonic regression at known angles: ``y = c0 + sum_k (a_k cos k phi + b_k sin k phi)``.

With the angles known the fit is linear: one solve, no start value (the three-parameter sine
fit of IEEE 1057 and 1241 for order 1). Several channels share one design.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.leastsquares import (
    MAX_CONDITION,
    Design,
    LinearFit,
    factor,
    fit_linear,
)
from calibration.measured import Measured, from_covariance

F64 = NDArray[np.float64]


def harmonic_matrix(phi_rad: F64, orders: Sequence[int]) -> F64:
    """Return the design matrix, columns 1, cos, sin, cos, sin ..., shape (n, 1 + 2 len)."""
    matrix = np.empty((phi_rad.shape[0], 1 + 2 * len(orders)))
    matrix[:, 0] = 1.0
    for i, order in enumerate(orders):
        np.cos(order * phi_rad, out=matrix[:, 1 + 2 * i])
        np.sin(order * phi_rad, out=matrix[:, 2 + 2 * i])
    return matrix


def design(
    phi_rad: F64, orders: Sequence[int] = (1,), *, max_condition: float = MAX_CONDITION
) -> Design:
    """Return the factored design at angles ``phi_rad``, shape (n,).

    Raises:
        NotEnoughRotation: the angles do not determine the coefficients.
    """
    return factor(harmonic_matrix(phi_rad, orders), max_condition=max_condition)


def dilution(design: Design) -> float:
    """Return sqrt(n) u(c0)/sigma: 1 for a full turn, larger for less."""
    return math.sqrt(design.rows * float(design.cofactor[0, 0]))


@dataclass(frozen=True, slots=True)
class HarmonicFit:
    """A harmonic regression of m channels; ``fit`` holds the least-squares side of it.

    Rows of ``fit.coefficients``: c0, then a and b of each of ``orders`` in turn.
    """

    orders: tuple[int, ...]
    fit: LinearFit

    @property
    def mean(self) -> F64:
        """The constant term c0, shape (m,)."""
        row: F64 = self.fit.coefficients[0]
        return row

    def cosine(self, order: int = 1) -> F64:
        """Return a_k, shape (m,)."""
        row: F64 = self.fit.coefficients[1 + 2 * self.orders.index(order)]
        return row

    def sine(self, order: int = 1) -> F64:
        """Return b_k, shape (m,)."""
        row: F64 = self.fit.coefficients[2 + 2 * self.orders.index(order)]
        return row

    def amplitude(self, order: int = 1) -> F64:
        """Return sqrt(a_k^2 + b_k^2), shape (m,)."""
        return np.hypot(self.cosine(order), self.sine(order))

    def phase_rad(self, order: int = 1) -> F64:
        """Return the angle at which the harmonic is greatest (the first such), shape (m,)."""
        result: F64 = np.arctan2(self.sine(order), self.cosine(order)) / order
        return result

    def predict(self, phi_rad: F64) -> F64:
        """Return the fitted curve at angles of shape (k,), shape (k, m)."""
        curve: F64 = harmonic_matrix(phi_rad, self.orders) @ self.fit.coefficients
        return curve

    @property
    def dilution(self) -> float:
        """sqrt(n) u(c0)/sigma of the rows kept."""
        return dilution(self.fit.design)

    def estimates(
        self, channel: int = 0, *, source: str, sigma: float | None = None
    ) -> tuple[Measured, ...]:
        """Return one channel's coefficients as correlated ``Measured``.

        ``sigma`` is the known standard deviation of one reading; without it the residuals give
        it, and the fit's degrees of freedom with it.

        Raises:
            ValueError: neither ``sigma`` nor any degree of freedom is there.
        """
        if sigma is None and self.fit.dof == 0:
            raise ValueError("no degrees of freedom are left: state sigma")
        dof = float(self.fit.dof) if sigma is None else math.inf
        values = self.fit.coefficients[:, channel]
        covariance = self.fit.covariance(channel, sigma=sigma)
        return from_covariance(values, covariance, source=source, dof=dof)


def fit_harmonics(
    phi_rad: F64,
    y: F64,
    *,
    orders: Sequence[int] = (1,),
    reject: bool = True,
    max_condition: float = MAX_CONDITION,
) -> HarmonicFit:
    """Fit the given harmonics by least squares.

    Args:
        phi_rad: known angles, shape (n,), finite.
        y: readings, shape (n,) or (n, m), finite.
        orders: harmonics to fit, such as (1,) or (1, 2, 4).
        reject: leave out gross outliers (never with fewer than 8 rows).

    Raises:
        NotEnoughRotation: the angles do not determine the coefficients.
    """
    solved = design(phi_rad, orders, max_condition=max_condition)
    return HarmonicFit(tuple(orders), fit_linear(solved, y, reject=reject))
