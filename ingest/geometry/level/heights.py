"""Heights of a bay's standing points, by least squares, from a level or from a head on a bar.

A level set up once reads a staff at some points: height = height of the line of sight less reading.
A bar laid from one point to another and turned end for end with its head reads the slope once
forward and once backward; what bar and head read wrong is the same both times and cancels.
Heights are free up to a constant: their mean is 0.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ingest.core.errors import MeasurementRefused

F64 = NDArray[np.float64]

CHANCE = 1e-4
"""Sound readings are refused for contradicting each other in fewer cases than this."""


@dataclass(frozen=True, slots=True)
class Point:
    """A place where a wheel stands: forward and left, m; ``plate_m`` is added to its height."""

    id: str
    x_m: float
    y_m: float
    plate_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Staff:
    """A staff read at a point from one set-up of a level, m (the lower the point, the more)."""

    set_up: str
    point: str
    reading_m: float
    sigma_m: float


@dataclass(frozen=True, slots=True)
class BarLaid:
    """A head on a bar, read as laid and turned end for end.

    ``reading_rad`` is the elevation of the far end as laid from ``start`` to ``end``,
    ``turned_rad`` what the same head, bar and all turned round, reads on the same two points.
    ``sigma_rad`` is the standard deviation of one reading.
    """

    start: str
    end: str
    reading_rad: float
    turned_rad: float
    sigma_rad: float

    @property
    def slope_rad(self) -> float:
        """Elevation of ``end`` seen from ``start``."""
        return (self.reading_rad - self.turned_rad) / 2.0

    @property
    def own_error_rad(self) -> float:
        """What bar and head read on level points."""
        return (self.reading_rad + self.turned_rad) / 2.0


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights of n points above their mean, plates included, shape (n,), m; covariance (n, n)."""

    points: tuple[Point, ...]
    height_m: F64
    covariance_m2: F64
    dof: int
    chi2: float


def adjust_heights(
    points: Sequence[Point], staffs: Sequence[Staff], bars: Sequence[BarLaid]
) -> Heights:
    """Return the heights of all points.

    Raises:
        MeasurementRefused: ``apart`` (no chain of readings joins the points), ``bar`` (the bar's
            own error was not the same each time) or ``disagree``.
    """
    _refuse_unsteady_bar(bars)
    place = {point.id: i for i, point in enumerate(points)}
    rows, right, sigma = _equations(points, place, staffs, bars)
    weighted = rows / sigma[:, None]
    n = len(points)
    datum = np.zeros(rows.shape[1])
    datum[:n] = float((1.0 / sigma).mean())
    # The constant is fixed by one more equation, which no reading contradicts.
    bordered = np.vstack([weighted, datum])
    if np.linalg.matrix_rank(bordered) < rows.shape[1]:
        raise MeasurementRefused(
            "apart",
            "no chain of readings joins all points; read more of them from one set-up, or lay the "
            "bar between the groups",
            figure=float(np.linalg.matrix_rank(bordered)),
            limit=float(rows.shape[1]),
        )
    gain = np.linalg.pinv(bordered)[:, : len(rows)]
    found = gain @ (right / sigma)
    rest = right / sigma - weighted @ found
    dof, chi2 = len(rows) - rows.shape[1] + 1, float(rest @ rest)
    _refuse_disagreement(rest * sigma, dof, chi2)
    centre = np.eye(n) - 1.0 / n
    height = found[:n] + np.array([point.plate_m for point in points])
    spread = centre @ gain[:n] @ gain[:n].T @ centre
    return Heights(tuple(points), height - height.mean(), spread, dof, chi2)


def _equations(
    points: Sequence[Point],
    place: dict[str, int],
    staffs: Sequence[Staff],
    bars: Sequence[BarLaid],
) -> tuple[F64, F64, F64]:
    """Return rows (m, n + set-ups), right-hand sides (m,) and standard deviations (m,), m."""
    n = len(points)
    set_ups = {name: n + i for i, name in enumerate(dict.fromkeys(s.set_up for s in staffs))}
    rows = np.zeros((len(staffs) + len(bars), n + len(set_ups)))
    right, sigma = np.zeros(len(rows)), np.zeros(len(rows))
    for i, staff in enumerate(staffs):
        rows[i, place[staff.point]], rows[i, set_ups[staff.set_up]] = -1.0, 1.0
        right[i], sigma[i] = staff.reading_m, staff.sigma_m
    for i, bar in enumerate(bars, start=len(staffs)):
        start, end = points[place[bar.start]], points[place[bar.end]]
        rows[i, place[bar.start]], rows[i, place[bar.end]] = -1.0, 1.0
        apart_m = math.hypot(end.x_m - start.x_m, end.y_m - start.y_m)
        right[i] = apart_m * math.tan(bar.slope_rad)
        sigma[i] = apart_m * bar.sigma_rad / math.sqrt(2.0)
    return rows, right, sigma


def _refuse_unsteady_bar(bars: Sequence[BarLaid]) -> None:
    """Hold the bar's own error, which cancels only where it stays, from one laying to the next."""
    if len(bars) < 2:
        return
    errors = np.array([bar.own_error_rad for bar in bars])
    sigma = np.array([bar.sigma_rad for bar in bars]) / math.sqrt(2.0)
    weight = 1.0 / sigma**2
    rest = errors - float(weight @ errors) / float(weight.sum())
    dof = len(bars) - 1
    if float(weight @ rest**2) > float(special.chdtri(dof, CHANCE)):
        worst = int(np.argmax(np.abs(rest) / sigma))
        bar = bars[worst]
        raise MeasurementRefused(
            "bar",
            f"laid from {bar.start} to {bar.end}, bar and head err by "
            f"{math.degrees(errors[worst]):.4f} deg, {math.degrees(abs(rest[worst])):.4f} deg off "
            "the other layings; it was not turned end for end there, or the head was moved on it: "
            "lay it again both ways",
            figure=math.degrees(abs(float(rest[worst]))),
            limit=math.degrees(float(sigma[worst])) * 3.0,
        )


def _refuse_disagreement(rest_m: F64, dof: int, chi2: float) -> None:
    if dof < 1:
        return
    limit = float(special.chdtri(dof, CHANCE))
    if chi2 > limit:
        raise MeasurementRefused(
            "disagree",
            f"the readings contradict each other by up to {np.abs(rest_m).max() * 1e3:.2f} mm "
            f"(chi-square {chi2:.1f}, limit {limit:.1f} for {dof} degrees of freedom); read again, "
            "or state a larger sigma",
            figure=chi2,
            limit=limit,
        )
