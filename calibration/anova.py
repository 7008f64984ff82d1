"""Analysis of variance of a crossed study: what technicians, mountings and settling scatter.

Random effects throughout, every cell filled alike (GUM H.5; ISO 5725-3 for the nested forms).
A mean square estimates the variance of its own cause times the readings that share one draw of
it, and all that lies within; so each component is the difference of two mean squares.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.errors import BadBenchData

F64 = NDArray[np.float64]

P = 0.95
"""Coverage of each component's interval."""

POOL_FROM = 0.25
"""From this probability of a chance effect on, technician by wheel counts as none and its sum of
squares is pooled with that of the mountings (common practice in gauge studies; from memory)."""

SETTLING, MOUNTING, INTERACTION, TECHNICIAN = "settling", "mounting", "interaction", "technician"
WHEEL = "wheel"


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """One row of the table: sum of squares and degrees of freedom of a cause."""

    cause: str
    ss: float
    dof: int

    @property
    def ms(self) -> float:
        """Mean square, in the square of the values' unit."""
        return self.ss / self.dof


@dataclass(frozen=True, slots=True)
class Component:
    """The variance that one cause adds, with its two-sided interval (95 %), in unit squared.

    ``variance`` is the estimate as it came out: below zero where chance made the inner mean
    square the larger. ``u``, its square root, is then zero (ISO 5725-2), as it is for a pooled
    interaction; the interval says how little that proves. ``dof`` belongs to ``u``
    (Satterthwaite); None where ``u`` is zero. Intervals are those before any pooling.
    """

    cause: str
    variance: float
    u: float
    dof: float | None
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Anova:
    """The table, from within to without, and the components of one result.

    ``p_interaction``: probability of so large an interaction by chance; None where there is
    none to be told. ``pooled``: it was taken for chance (``POOL_FROM``), and mounting's and
    technician's estimates stand on the pooled mean square.
    """

    rows: tuple[MeanSquare, ...]
    components: tuple[Component, ...]
    p_interaction: float | None
    pooled: bool

    def of(self, cause: str) -> Component | None:
        """Return one cause's component; None where this study cannot tell it."""
        return next((c for c in self.components if c.cause == cause), None)


def analyse(values: F64) -> Anova:
    """Analyse readings of shape (wheels, technicians, mountings, settlings), in any unit.

    With one technician there is no technician's component; with one wheel no interaction (it
    is then in the technician's); with one settling for each mounting none of settling (it is
    then in the mounting's). Two mountings are needed.

    Raises:
        BadBenchData: fewer than two mountings, no such shape, or a reading that is no number.
    """
    if values.ndim != 4 or 0 in values.shape or not np.isfinite(values).all():
        raise BadBenchData("study", "cells are missing or are no numbers", "fill every cell")
    mountings = values.shape[2]
    if mountings < 2:
        why = "one mounting a cell tells nothing of mounting"
        raise BadBenchData("study", why, "take the heads off and put them on again, twice or more")
    rows = _rows(values)
    by_cause = {row.cause: row for row in rows}
    inner, interaction = by_cause[MOUNTING], by_cause.get(INTERACTION)
    p_interaction = None if interaction is None else _p_of(interaction, inner)
    pooled = p_interaction is not None and p_interaction >= POOL_FROM
    found = _components(by_cause, values.shape)
    if pooled and interaction is not None:
        together = MeanSquare(MOUNTING, inner.ss + interaction.ss, inner.dof + interaction.dof)
        without = {c: row for c, row in by_cause.items() if c != INTERACTION} | {MOUNTING: together}
        shorter = {c.cause: c for c in _components(without, values.shape)}
        found = tuple(_pooled(c, shorter.get(c.cause)) for c in found)
    return Anova(rows, found, p_interaction, pooled)


def _components(
    by_cause: Mapping[str, MeanSquare], shape: tuple[int, ...]
) -> tuple[Component, ...]:
    """Return each cause's component, its mean square held against the next within."""
    wheels, _, mountings, settlings = shape
    readings = {
        SETTLING: 1,
        MOUNTING: settlings,
        INTERACTION: mountings * settlings,
        TECHNICIAN: wheels * mountings * settlings,
    }
    chain = [by_cause[cause] for cause in readings if cause in by_cause]
    between = (_between(row, chain[i], readings[row.cause]) for i, row in enumerate(chain[1:]))
    return (_innermost(chain[0]), *between)


def _pooled(alone: Component, together: Component | None) -> Component:
    """Return the estimate after pooling with the interval from before, whose coverage holds."""
    if together is None:
        return replace(alone, u=0.0, dof=None)
    return replace(together, low=alone.low, high=alone.high)


def _rows(values: F64) -> tuple[MeanSquare, ...]:
    """Return the mean squares that this design has, from within to without."""
    a, b, n, r = values.shape
    mounting, cell = values.mean(axis=3), values.mean(axis=(2, 3))
    wheel, technician = values.mean(axis=(1, 2, 3)), values.mean(axis=(0, 2, 3))
    grand = float(values.mean())
    left = cell - wheel[:, None] - technician[None, :] + grand
    rows = (
        (SETTLING, values - mounting[..., None], 1, a * b * n * (r - 1)),
        (MOUNTING, mounting - cell[..., None], r, a * b * (n - 1)),
        (INTERACTION, left, n * r, (a - 1) * (b - 1)),
        (TECHNICIAN, technician - grand, a * n * r, b - 1),
        (WHEEL, wheel - grand, b * n * r, a - 1),
    )
    return tuple(
        MeanSquare(cause, readings * float(np.sum(np.square(deviations))), dof)
        for cause, deviations, readings, dof in rows
        if dof
    )


def _p_of(row: MeanSquare, inner: MeanSquare) -> float:
    if inner.ss == 0.0:
        return 1.0 if row.ss == 0.0 else 0.0
    return float(special.fdtrc(row.dof, inner.dof, row.ms / inner.ms))


def _innermost(row: MeanSquare) -> Component:
    """Return a variance that a mean square estimates by itself; its interval is exact."""
    low, high = (row.ss / float(special.chdtri(row.dof, q)) for q in _tails())
    dof = float(row.dof) if row.ss else None
    return Component(row.cause, row.ms, math.sqrt(row.ms), dof, low, high)


def _between(row: MeanSquare, inner: MeanSquare, readings: int) -> Component:
    """Return a variance that the difference of two mean squares estimates.

    The interval is that of modified large samples, exact where either mean square vanishes
    (Ting, Burdick, Graybill, Jeyaratnam and Lu, 1990; from memory, held to its coverage).
    """
    low, high = _difference(row.ms, row.dof, inner.ms, inner.dof)
    variance = (row.ms - inner.ms) / readings
    dof = None
    if variance > 0.0:
        spread = row.ms**2 / row.dof + inner.ms**2 / inner.dof
        dof = (row.ms - inner.ms) ** 2 / spread
    low, high = (max(end / readings, 0.0) for end in (low, high))
    return Component(row.cause, variance, math.sqrt(max(variance, 0.0)), dof, low, high)


def _difference(s1: float, n1: int, s2: float, n2: int) -> tuple[float, float]:
    """Return the interval of the difference of what two mean squares estimate."""
    upper, lower = _tails()
    g1, g2 = (1.0 - n / float(special.chdtri(n, upper)) for n in (n1, n2))
    h1, h2 = (n / float(special.chdtri(n, lower)) - 1.0 for n in (n1, n2))
    f_up = float(special.fdtri(n1, n2, 1.0 - upper))
    f_low = float(special.fdtri(n1, n2, upper))
    g12 = ((f_up - 1.0) ** 2 - (g1 * f_up) ** 2 - h2**2) / f_up
    h12 = ((1.0 - f_low) ** 2 - (h1 * f_low) ** 2 - g2**2) / f_low
    down = (g1 * s1) ** 2 + (h2 * s2) ** 2 + g12 * s1 * s2
    up = (h1 * s1) ** 2 + (g2 * s2) ** 2 + h12 * s1 * s2
    return s1 - s2 - math.sqrt(max(down, 0.0)), s1 - s2 + math.sqrt(max(up, 0.0))


def _tails() -> tuple[float, float]:
    """Return the upper tail's probabilities of the two ends of the interval."""
    return (1.0 - P) / 2.0, (1.0 + P) / 2.0
