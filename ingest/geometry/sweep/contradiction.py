"""What the residuals of a settled fit say about unknowns that were not fitted.

Extra columns, made orthogonal to the design, show by how much the fit would move with them.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.reporting import t_factor
from ingest.geometry.sweep.refine import Refined

F64 = NDArray[np.float64]

CHANCE = 1e-5
"""Clean readings are held against a sweep in fewer cases than this."""
LEAST_SHARE = 1e-4
"""A column of which the design leaves less (of its square) tells nothing of its own."""


@dataclass(frozen=True, slots=True)
class Extra:
    """Extra unknowns (e,), their standard uncertainties, and how the fitted ones would move.

    ``u`` is NaN where nothing is left over to judge the noise by; ``chance`` is what clean
    readings exceed, to either side, with the chance of ``CHANCE``; ``explained`` is by how much
    the whitened sum of squares would fall.
    """

    values: F64
    u: F64
    chance: F64
    moved: F64
    explained: float


def extra_unknowns(fit: Refined, side: int, columns: F64, *, stated: bool) -> Extra | None:
    """Return what extra columns of one side, shape (e, c, n) as readings, would be fitted as.

    ``stated``: the residuals are whitened by noise that is known. None: the columns cannot be told
    from those of the fit.
    """
    start = sum(rest.size for rest in fit.residuals[:side])
    whole = np.zeros((len(fit.whitened), len(columns)))
    for at, column in enumerate(columns):
        white = fit.weights[side].whiten(column)
        whole[start : start + len(white), at] = white
    shares = fit.gain @ whole
    rest = whole - fit.design @ shares
    normal = rest.T @ rest
    lengths = np.maximum((whole**2).sum(axis=0), 1e-300)
    if (normal.diagonal() < LEAST_SHARE * lengths).any():
        return None
    try:
        cofactor = np.linalg.inv(normal)
    except np.linalg.LinAlgError:
        return None
    right = rest.T @ fit.whitened
    values = cofactor @ right
    dof = fit.dof - len(columns)
    explained = float(values @ right)
    left_over = max(float(fit.whitened @ fit.whitened) - explained, 0.0)
    variance = 1.0 if stated else left_over / dof if dof > 0 else math.nan
    u = np.sqrt(cofactor.diagonal() * variance)
    free = math.inf if stated else max(dof, 1)
    return Extra(values, u, u * t_factor(1.0 - CHANCE, free), -shares @ values, explained)
