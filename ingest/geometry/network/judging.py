"""How far the readings agree, and how far they could show that they do not.

Baarda's data snooping: with whitened residuals v, redundancy numbers r (the diagonal of the
projector onto misfits) and w = v / sqrt(r), |w| > 3.29 (alpha = 0.001, two-sided) names a reading.
The smallest gross error found with power 0.80 is 4.13 sigma / sqrt(r); what it does to a result
before it is found is the external reliability. (Baarda 1968; Ghilani, Adjustment Computations,
ch. 21.) The sum of whitened squares is held against chi-square, two-sided, 5 %.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ingest.geometry.network.adjusting import Adjusted
from ingest.geometry.network.results import Result
from ingest.geometry.network.unknowns import F64

MASK = NDArray[np.bool_]

CRITICAL_W = float(special.ndtri(1.0 - 0.001 / 2.0))
"""3.2905."""

DETECTED = CRITICAL_W + float(special.ndtri(0.80))
"""4.1321: non-centrality found with power 0.80."""

TAIL = 0.025
LEAST_REDUNDANCY = 1e-7
"""Below, nothing checks a reading: its residual is rounding."""

ALIKE = 0.9
"""Correlation of two standardised residuals from which on they may blame each other."""

TELLING = 2.0
"""Two such are told apart where their sizes differ by so many sigmas of the difference."""


@dataclass(frozen=True, slots=True)
class Checked:
    """How one row of the adjustment fits. ``redundancy`` is the share of it that others check.

    ``standardised`` is None where nothing checks it. ``detectable`` is the smallest gross error
    that would be found (rad or m), ``harm`` what it would do to the result that it harms most
    (rad), named in ``harmed``; None alike.
    """

    residual: float
    redundancy: float
    standardised: float | None
    detectable: float | None
    harm: float | None = None
    harmed: str | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """The test of the whole, and of each used reading and each held zero, in their order.

    ``suspect`` is the place of the row to distrust among all (None: none); ``alike`` are the
    others that the data cannot tell from it.
    """

    dof: int
    chi2: float
    chi2_limits: tuple[float, float] | None
    checked: tuple[Checked, ...]
    suspect: int | None
    alike: tuple[int, ...]

    @property
    def fits(self) -> bool:
        """Whether chi-square lies within its limits; True where there is nothing to test."""
        if self.chi2_limits is None:
            return True
        return self.chi2_limits[0] <= self.chi2 <= self.chi2_limits[1]

    @property
    def variance_factor(self) -> float | None:
        """Chi-square per degree of freedom."""
        return self.chi2 / self.dof if self.dof else None


def judge(adjusted: Adjusted, results: tuple[Result, ...]) -> Judgement:
    """Return how an adjusted network fits its readings."""
    basis, misfit = adjusted.factored.basis, adjusted.misfit
    projector = np.eye(len(misfit)) - basis @ basis.T
    redundancy = np.clip(projector.diagonal(), 0.0, 1.0)
    seen = redundancy > LEAST_REDUNDANCY
    root = np.sqrt(np.where(seen, redundancy, 1.0))
    w = np.where(seen, misfit / root, 0.0)
    suspect = int(np.argmax(np.abs(w))) if seen.any() else 0
    found = bool(seen.any()) and abs(w[suspect]) > CRITICAL_W
    chi2 = float(misfit @ misfit)
    return Judgement(
        dof=adjusted.dof,
        chi2=chi2,
        chi2_limits=limits(adjusted.dof),
        checked=_checked(adjusted, results, redundancy, w, root, seen),
        suspect=suspect if found else None,
        alike=_alike(projector[suspect] / (root * root[suspect]), w, suspect) if found else (),
    )


def limits(dof: int) -> tuple[float, float] | None:
    """Return the two-sided 95 % limits of chi-square, None without degrees of freedom."""
    if dof == 0:
        return None
    return float(special.chdtri(dof, 1.0 - TAIL)), float(special.chdtri(dof, TAIL))


def _alike(correlation: F64, w: F64, suspect: int) -> tuple[int, ...]:
    """Return the rows that could as well be the bad one: |w| alike, for residuals so correlated.

    The variance of the difference of two of them is 2 (1 - |correlation|).
    """
    like = np.minimum(np.abs(correlation), 1.0)
    nearer = np.abs(w[suspect]) - np.abs(w) <= TELLING * np.sqrt(2.0 * (1.0 - like)) + 1e-6
    same = np.flatnonzero((like > ALIKE) & nearer & (np.abs(w) > CRITICAL_W))
    return tuple(int(i) for i in same if i != suspect)


def _checked(
    adjusted: Adjusted, results: tuple[Result, ...], redundancy: F64, w: F64, root: F64, seen: MASK
) -> tuple[Checked, ...]:
    angles = [r.quantity for r in results if r.measured is not None and r.quantity.angular]
    slopes = np.array([q.form.slope for q in angles if q.form is not None])
    moved = slopes @ adjusted.factored.inverse if len(angles) else np.zeros((1, len(w)))
    harm = np.abs(moved) * DETECTED / root
    worst = harm.argmax(axis=0)
    rows = []
    for i, sigma in enumerate(adjusted.sigma.tolist()):
        residual = float(adjusted.misfit[i]) * sigma
        if not seen[i]:
            rows.append(Checked(residual, float(redundancy[i]), None, None))
            continue
        detectable = DETECTED * sigma / math.sqrt(float(redundancy[i]))
        label = angles[int(worst[i])].label if angles else None
        most = float(harm[worst[i], i]) if angles else None
        rows.append(Checked(residual, float(redundancy[i]), float(w[i]), detectable, most, label))
    return tuple(rows)
