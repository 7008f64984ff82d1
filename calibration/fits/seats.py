"""What placements add to tilt readings beside the model: seats askew, wander from soak to soak."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.fits.effects import allowing, considering
from calibration.fits.placed import Placed
from calibration.fits.result import Fit

F64 = NDArray[np.float64]

SOAKS_APART_DEGC = 2.0
LEVEL_RAD = 1e-3
"""A plate's own slope: up to this a head that stands askew reads the same."""


def askew(fit: Fit, placed: Sequence[Placed], inverse: F64, u_rad: float) -> Fit:
    """Return the fit with a turn of its own for every raised reading, of which ``u_rad`` is stated.

    ``inverse`` is M^-1, shape (k, k); the rows of the placements are the last of the fit.
    """
    k = len(inverse)
    raised = [(p.axis, math.sin(a)) for p in placed for a in p.angle_rad]
    columns = []
    for i, (axis, sine) in enumerate(raised):
        if abs(sine) > LEVEL_RAD:
            turned = np.zeros(k)
            turned[1 - axis] = -sine if axis == 0 else sine
            column = np.zeros(fit.residuals.size)
            at = column.size - (len(raised) - i) * k
            column[at : at + k] = inverse @ turned
            columns.append(column)
    if not columns:
        return fit
    return allowing(fit, np.array(columns).T, np.full(len(columns), u_rad))


def soaked(fit: Fit, placed: Sequence[Placed], u_rad: float) -> Fit:
    """Return the fit with what each axis strays by from soak to soak, hours apart in an oven.

    ``u_rad`` is its standard uncertainty; the readings of one soak share it, and do not show it.
    """
    above = np.concatenate([p.above_degc for p in placed])
    oven = np.repeat([p.name.startswith("oven") for p in placed], [len(p.raw) for p in placed])
    # Soaks are numbered along the temperatures, parted where there is a gap.
    order = np.unique(above[oven])
    soaks = np.searchsorted(order[1:][np.diff(order) > SOAKS_APART_DEGC], above, side="right")
    k, before = placed[0].raw.shape[1], fit.residuals.size - placed[0].raw.shape[1] * above.size
    shared = [np.where(oven & (soaks == s), 1.0, 0.0) for s in range(soaks[oven].max() + 1)]
    columns = np.concatenate([np.kron(each[:, None], np.eye(k)) for each in shared], axis=1)
    whole = np.vstack([np.zeros((before, columns.shape[1])), columns])
    return considering(fit, whole, np.full(whole.shape[1], u_rad))
