"""Which of a few stops is the one to take again.

Each stop is left out in turn; what the sum of squares loses follows from its residual and its
leverage (a deletion diagnostic, as in Cook and Weisberg; from memory). Three stops leave
nothing over to tell by, and with four every one could be the culprit: it takes five.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.leastsquares import LinearFit

F64 = NDArray[np.float64]

LEAST_DOF = 2
"""Per channel: with fewer, the others agree whichever stop is left out."""
DOUBT = 1e-3
"""Clean stops are doubted in fewer cases than this."""


def stop_to_distrust(fit: LinearFit, sigma_rad: float, chance: float) -> int | None:
    """Return the only stop (from 0) without which the others agree; None: no or several such.

    Args:
        fit: of all stops, rad.
        sigma_rad: standard deviation of one reading.
        chance: of taking stops that agree for such that do not.
    """
    if fit.dof < LEAST_DOF:
        return None
    dof = (fit.dof - 1) * fit.residuals.shape[1]
    rest = [scatter(float(fit.rss.sum() - each), dof, sigma_rad, chance) for each in _loss(fit)]
    agree = [at for at, (limit, spread) in enumerate(rest) if spread <= limit]
    return agree[0] if len(agree) == 1 else None


def stop_in_doubt(fit: LinearFit, quiet_rad: float) -> int | None:
    """Return the stop (from 0) that the others, by their own scatter, speak against.

    For stops whose noise nobody stated: an F test of the largest loss, its chance shared out
    among the stops. Scatter below ``quiet_rad`` is no scatter.
    """
    channels, n = fit.residuals.shape[1], len(fit.residuals)
    rest_dof = (fit.dof - 1) * channels
    if fit.dof < LEAST_DOF:
        return None
    loss, total = _loss(fit), float(fit.rss.sum())
    worst = int(np.argmax(loss))
    rest = max((total - float(loss[worst])) / rest_dof, quiet_rad**2)
    f = float(loss[worst]) / channels / rest
    return worst if float(special.fdtrc(channels, rest_dof, f)) < DOUBT / n else None


def scatter(rss: float, dof: int, sigma_rad: float, chance: float) -> tuple[float, float]:
    """Return the limit of the scatter, and the scatter, rad."""
    limit = math.sqrt(float(special.chdtri(dof, chance)) / dof) * sigma_rad
    return limit, math.sqrt(max(rss, 0.0) / dof)


def _loss(fit: LinearFit) -> F64:
    """Return by how much the sum of squares falls when each stop is left out, shape (n,)."""
    leverage = np.einsum("ij,ij->i", fit.design.basis, fit.design.basis)
    loss: F64 = np.square(fit.residuals).sum(axis=1) / np.maximum(1.0 - leverage, 1e-9)
    return loss
