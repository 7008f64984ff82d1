"""Readings of one channel gathered into points: means, repeats and how they hang together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from calibration.files.points import Reading

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class At:
    """A point: one nominal angle, approached from one side."""

    nominal_deg: Decimal
    direction: str

    def __str__(self) -> str:
        return f"{self.nominal_deg:f}° {self.direction}"


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One channel's n readings as m points, as read, before any reference is accounted for.

    ``reference_deg`` and ``difference_deg`` (m,) are means of the readings that are not turned,
    the latter indication minus reference. ``weights`` (m, n) give each point's difference from
    the readings', the tilt of the plate taken out where ``plate_deg`` was found by reversal.
    ``s_deg`` is the standard deviation of one reading, pooled over the repeats (GUM H.3.6 and
    4.2.4, note), with ``dof``. ``span_degc`` is the range of temperatures, 0 where unknown.
    """

    channel: str
    at: tuple[At, ...]
    repeats: tuple[int, ...]
    reference_deg: F64
    difference_deg: F64
    weights: F64
    s_deg: float
    dof: int
    plate_deg: float | None
    span_degc: float

    @property
    def positions(self) -> F64:
        """Which nominal each point is at: ones, shape (m, number of nominals)."""
        nominals = [a.nominal_deg for a in self.at]
        places = list(dict.fromkeys(nominals))
        return np.array([[float(n == p) for p in places] for n in nominals])


def gather(readings: Sequence[Reading], indication_deg: F64, reference_deg: F64) -> Series:
    """Gather one channel's readings; ``indication_deg`` and ``reference_deg`` have shape (n,).

    Differences are taken the short way round, so a turn more or less does not count.
    """
    away = (indication_deg - reference_deg + 180.0) % 360.0 - 180.0
    groups = _groups(readings)
    marked = {key[:2]: rows for key, rows in groups.items() if key[2] == "as-marked"}
    turned = {key[:2]: rows for key, rows in groups.items() if key[2] == "turned"}
    means = np.array([_mean_of(rows, len(readings)) for rows in marked.values()])
    plate = _plate(marked, turned, len(readings))
    s, dof = _pooled(away, list(groups.values()))
    return Series(
        channel=readings[0].channel,
        at=tuple(At(nominal, direction) for nominal, direction in marked),
        repeats=tuple(len(rows) for rows in marked.values()),
        reference_deg=means @ reference_deg,
        difference_deg=means @ away,
        weights=means if plate is None else means - plate,
        s_deg=s,
        dof=dof,
        plate_deg=None if plate is None else float(plate @ away),
        span_degc=_span([r.temperature_degc for r in readings]),
    )


def _groups(readings: Sequence[Reading]) -> dict[tuple[Decimal, str, str], list[int]]:
    """Return the places of each point's repeats, points in the order of their first reading."""
    groups: dict[tuple[Decimal, str, str], list[int]] = {}
    for i, r in enumerate(readings):
        groups.setdefault((r.nominal_deg, r.direction, r.facing), []).append(i)
    return groups


def _mean_of(rows: list[int], n: int) -> F64:
    weights = np.zeros(n)
    weights[rows] = 1.0 / len(rows)
    return weights


Rows = dict[tuple[Decimal, str], list[int]]


def _plate(marked: Rows, turned: Rows, n: int) -> F64 | None:
    """Return the weights of the plate's tilt: half of marked minus turned, where both are."""
    if not turned:
        return None
    gaps = [_mean_of(marked[at], n) - _mean_of(rows, n) for at, rows in turned.items()]
    half: F64 = 0.5 * np.mean(gaps, axis=0)
    return half


def _pooled(values: F64, groups: Sequence[list[int]]) -> tuple[float, int]:
    dof = len(values) - len(groups)
    if dof == 0:
        return math.nan, 0
    rss = math.fsum(float(np.square(values[g] - values[g].mean()).sum()) for g in groups)
    return math.sqrt(rss / dof), dof


def _span(temperatures: Sequence[float]) -> float:
    known = [t for t in temperatures if math.isfinite(t)]
    return max(known) - min(known) if known else 0.0
