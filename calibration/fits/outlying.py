"""Readings so far off the others that no coefficients may stand on them.

A fit leaves nothing out, and a reading that merely does not fit is named and widens what is stated.
Beyond ten times what the others explain it is a mistake, of sign, height, axis or place, and who
made it can still be asked. It is refused, never left out in silence, and has to be taken again.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from calibration.fits.effects import scatter_beside
from calibration.fits.result import Fit

TIMES_U = 10.0
LEAST_RAD = math.radians(0.05)
"""No less than that is gross, however well the others agree: the limit of a head at rest."""
MOST_NAMED = 3
ALIKE = 0.98
"""Readings with residuals so nearly as suspicious are blamed with the worst."""


@dataclass(frozen=True, slots=True)
class Outlying:
    """A reading, how far it is off a fit without it, and the limit, rad.

    ``label`` names several where the readings do not tell which of them it is.
    """

    label: str
    off_rad: float
    limit_rad: float


def most_outlying(fit: Fit) -> Outlying | None:
    """Return the worst of the gross readings of a fit of angles, rad; None where there is none.

    A reading that the test of ``distrusted`` names is held against the fit of all the others:
    off is ``e / r``, with r the share that the others leave it (deletion residual, Belsley, Kuh and
    Welsch 1980, from memory), and u is that of off: scatter of the others, and stated effects.
    """
    named, (free, spread) = set(fit.distrusted()), fit.spreads()
    size = np.abs(fit.standardised())
    found: dict[int, Outlying] = {}
    for i in map(int, np.argsort(-size)):
        each = None
        if fit.labels[i] in named:
            each = _judged(fit, i, float(free[i]), float(spread[i]))
        if each is not None:
            found[i] = each
    if not found:
        return None
    worst = next(iter(found))
    alike = [each.label for i, each in found.items() if size[i] > ALIKE * size[worst]]
    others = ["another"] if len(alike) > MOST_NAMED else []
    return replace(found[worst], label=" or ".join([*alike[:MOST_NAMED], *others]))


def _judged(fit: Fit, i: int, share: float, spread: float) -> Outlying | None:
    others = _others(fit, i)
    if math.isnan(others):
        return None
    stated = max(spread**2 - fit.sigma**2 * share, 0.0)
    u = math.sqrt(others**2 * share + stated) / share
    off, limit = float(fit.residuals[i]) / share, max(TIMES_U * u, LEAST_RAD)
    return Outlying(fit.labels[i], off, limit) if abs(off) > limit else None


def _others(fit: Fit, i: int) -> float:
    """Return what one of the other readings scatters by; NaN where nothing tells it."""
    if not math.isfinite(fit.dof):
        return fit.sigma
    own = np.zeros((fit.residuals.size, 1))
    own[i] = 1.0
    return scatter_beside(fit, np.hstack([fit.effects, own]))[0]
