"""The figures that sum a channel up: the largest error and where it comes from.

Each but the repeatability is linear in the errors of the points, so that what those share (the
bar, the plate, the readings) enters once and with its sign.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, propagate
from calibration.reporting import coverage_factor
from calibration.verification.errors_at_points import PointError
from calibration.verification.largest import largest

F64 = NDArray[np.float64]

HALF_TURN_DEG = 180.0
"""From this span on a channel goes round, and a straight line says nothing of it."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure; ``at`` says at which point, angle or pair it was found, ``under`` how.

    ``together``: it is of head and reference, and nothing tells their shares apart. ``k`` is its
    coverage factor at 95.45 %; None where nothing tells the uncertainty.
    """

    name: str
    measured: Measured
    unit: str
    at: str
    k: float | None
    under: str = ""
    together: bool = False

    @property
    def value(self) -> float:
        """The figure itself, signed."""
        return self.measured.value

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty U = k u, None where it is not known."""
        return None if self.k is None else self.k * self.measured.u


def max_error(points: Sequence[PointError]) -> Figure:
    """Return the error that is largest, signed."""
    worst, k = largest(_measured(points))
    return Figure("max-error", points[worst].budget.measured, "deg", str(points[worst].at), k)


def repeatability(s_deg: float, dof: int) -> Figure:
    """Return the standard deviation of one reading, pooled over the points."""
    at = f"{dof} degrees of freedom"
    return Figure("repeatability", Measured.exact(s_deg), "deg", at, None)


def hysteresis(points: Sequence[PointError]) -> Figure | None:
    """Return the largest gap, downward minus upward, of one nominal angle."""
    pairs = _pairs(points)
    gaps = [
        propagate(down.error_deg - up.error_deg, (1.0, -1.0), _measured((down, up)))
        for up, down in pairs.values()
    ]
    if not gaps:
        return None
    widest, k = largest(gaps)
    return Figure("hysteresis", gaps[widest], "deg", f"{list(pairs)[widest]:f}°", k)


def linearity(points: Sequence[PointError], *, end_points: bool = False) -> Figure | None:
    """Return the largest departure of the errors from a straight line over the angle.

    The line is the best by least squares, or the one through both ends. None where there are
    fewer than three angles, or the channel goes round.
    """
    nominals = sorted({p.at.nominal_deg for p in points})
    if len(nominals) < 3 or float(nominals[-1] - nominals[0]) >= HALF_TURN_DEG:
        return None
    mean = _means(points, nominals)
    angle = mean @ np.array([p.reference_deg for p in points])
    away = (_from_ends(angle) if end_points else _from_best(angle)) @ mean
    departures = [_combined(row, points) for row in away]
    worst, k = largest(departures)
    name = "linearity-end-points" if end_points else "linearity"
    return Figure(name, departures[worst], "deg", f"{nominals[worst]:f}°", k)


def zero(points: Sequence[PointError]) -> Figure | None:
    """Return the error at zero, up and down together; None where no point is there."""
    level = [p for p in points if p.at.nominal_deg == 0]
    if not level:
        return None
    share = np.full(len(level), 1.0 / len(level))
    found = _combined(share, level)
    return Figure("zero", found, "deg", "0°", coverage_factor(found.dof))


def _means(points: Sequence[PointError], nominals: Sequence[Decimal]) -> F64:
    """Return what takes the mean of each nominal's points, shape (nominals, points)."""
    at = np.array([[p.at.nominal_deg == nominal for p in points] for nominal in nominals])
    means: F64 = at / at.sum(axis=1, keepdims=True)
    return means


def _from_best(angle: F64) -> F64:
    design = np.column_stack([np.ones_like(angle), angle])
    result: F64 = np.eye(len(angle)) - design @ np.linalg.pinv(design)
    return result


def _from_ends(angle: F64) -> F64:
    share = (angle - angle[0]) / (angle[-1] - angle[0])
    result = np.eye(len(angle))
    result[:, 0] -= 1.0 - share
    result[:, -1] -= share
    return result


def _combined(weights: F64, points: Sequence[PointError]) -> Measured:
    value = math.fsum(float(w) * p.error_deg for w, p in zip(weights, points, strict=True))
    return propagate(value, weights.tolist(), _measured(points))


def _measured(points: Sequence[PointError]) -> tuple[Measured, ...]:
    return tuple(p.budget.measured for p in points)


def _pairs(points: Sequence[PointError]) -> dict[Decimal, tuple[PointError, PointError]]:
    up = {p.at.nominal_deg: p for p in points if p.at.direction == "up"}
    down = {p.at.nominal_deg: p for p in points if p.at.direction == "down"}
    return {nominal: (up[nominal], down[nominal]) for nominal in up if nominal in down}
