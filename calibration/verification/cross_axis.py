"""Cross-axis: what the other axis says when the first is tilted, in percent of the tilt."""

import numpy as np
from numpy.typing import NDArray

from calibration.verification.budget import Input, evaluate
from calibration.verification.errors_at_points import HeadShare
from calibration.verification.figures import Figure
from calibration.verification.series import Series
from calibration.verification.setup import Setup

F64 = NDArray[np.float64]

PERCENT = 100.0
FEWEST = 2
"""Angles that a slope needs."""


def cross_axis(other: Series, tilt_deg: F64, head: HeadShare, setup: Setup) -> Figure | None:
    """Return the slope of the other axis over the known tilt of the first, by least squares.

    ``other`` holds the other axis's readings, gathered against level, at the points whose known
    tilts are ``tilt_deg`` (m,). How squarely the head stands on the bar is in its uncertainty:
    a head turned by an angle sees the sine of it in the other axis. None for fewer than two
    angles.
    """
    if len(set(tilt_deg.tolist())) < FEWEST:
        return None
    centred = tilt_deg - tilt_deg.mean()
    share = PERCENT * centred / float(centred @ centred)
    inputs = (
        Input.readings("indication of the other axis (%)", 0.0, _scatter(other, share), other.dof),
        Input.limits("resolution of the head (%)", 0.0, _step(head, share)),
        Input.certificate("head square on the bar (deg)", 0.0, setup.alignment_deg, 2.0),
    )
    slope = float(share @ other.difference_deg)
    budget = evaluate(inputs, lambda x: slope + x[0] + x[1] + PERCENT * np.sin(x[2] * np.pi / 180))
    return Figure("cross-axis", budget.measured, "%", f"{len(tilt_deg)} points", budget.k)


def _scatter(other: Series, share: F64) -> float:
    return other.s_deg * float(np.linalg.norm(share @ other.weights))


def _step(head: HeadShare, share: F64) -> float:
    return head.step_deg / 2.0 * float(np.linalg.norm(share))
