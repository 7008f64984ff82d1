"""How many harmonics the readings prove."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.errors import NotEnoughRotation
from calibration.harmonics import HarmonicFit, design, fit_harmonics
from calibration.leastsquares import MAX_CONDITION, LinearFit, fit_linear
from calibration.outliers import ROUNDING

F64 = NDArray[np.float64]

LEVEL = 1e-3
"""A further harmonic is taken when chance alone would show it in fewer cases than this ..."""

ROWS_PER_COEFFICIENT = 4
"""... and when there are at least this many readings per coefficient."""


def fit_proven(
    phi_rad: F64,
    y: F64,
    *,
    orders: Sequence[int] = (1,),
    candidates: Sequence[int] = (2,),
    level: float = LEVEL,
    reject: bool = True,
    max_condition: float = MAX_CONDITION,
) -> HarmonicFit:
    """Fit ``orders``, and of ``candidates`` those that the readings prove, tried in turn.

    A candidate is proven when the F test against the fit without it falls below ``level``
    (shared out among channels and candidates), on ``ROWS_PER_COEFFICIENT`` readings or more
    per coefficient, at angles that determine it.

    Args:
        phi_rad: known angles, shape (n,), finite.
        y: readings, shape (n,) or (n, m), finite.

    Raises:
        NotEnoughRotation: the angles do not determine the coefficients of ``orders``.
    """
    chosen = proven_orders(
        phi_rad,
        y,
        orders=orders,
        candidates=candidates,
        level=level,
        reject=reject,
        max_condition=max_condition,
    )
    return fit_harmonics(phi_rad, y, orders=chosen, reject=reject, max_condition=max_condition)


def proven_orders(
    phi_rad: F64,
    y: F64,
    *,
    orders: Sequence[int] = (1,),
    candidates: Sequence[int] = (2,),
    level: float = LEVEL,
    reject: bool = True,
    max_condition: float = MAX_CONDITION,
) -> tuple[int, ...]:
    """Return ``orders`` and those of ``candidates`` that the readings prove.

    Arguments as ``fit_proven``, for callers that have a fit of ``orders`` already.
    """
    y = y[:, None] if y.ndim == 1 else y
    chosen = tuple(orders)
    share = level / max(1, len(candidates) * y.shape[1])
    for order in candidates:
        chance = _chance(phi_rad, y, chosen, order, reject, max_condition)
        if chance < share:
            chosen = (*chosen, order)
    return chosen


def _chance(
    phi_rad: F64,
    y: F64,
    orders: tuple[int, ...],
    candidate: int,
    reject: bool,
    max_condition: float,
) -> float:
    """Return the F test's p value of one more harmonic, the least of the channels.

    Both fits use the rows that the larger one keeps, or a real harmonic could be taken for
    outliers of the smaller one. 1 where the readings cannot tell.
    """
    try:
        larger = design(phi_rad, (*orders, candidate), max_condition=max_condition)
        large = fit_linear(larger, y, reject=reject)
        rows, dof = large.design.rows, large.dof
        if rows < ROWS_PER_COEFFICIENT * large.design.size:
            return 1.0
    except NotEnoughRotation:
        return 1.0
    rounding = rows * np.square(ROUNDING * np.abs(y).max(axis=0))
    gain = _gain(large)
    ratio = gain / 2.0 / np.maximum((large.rss + rounding) / dof, 1e-300)
    return float(special.fdtrc(2, dof, np.maximum(ratio, 0.0)).min())


def _gain(fit: LinearFit) -> F64:
    """Return by how much the sum of squares grows when the last two coefficients are left out.

    That is their own sum of squares, weighted by the inverse of their cofactor.
    """
    last = fit.coefficients[-2:]
    gain: F64 = np.einsum("im,im->m", last, np.linalg.solve(fit.design.cofactor[-2:, -2:], last))
    return gain
