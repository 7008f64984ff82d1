"""A network of readings that err together: one adjustment, all covariances kept.

Two sightlines of one head share its zero, its clamp and its tilt; the two ends of one sightline
share both of its ports. So the readings' covariance is full, and least squares are the general
ones, weighted by its inverse (Gauss-Markov; Aitken 1936). Results are told as ``Measured`` with
the parts of the readings themselves, so that what a result of the network has in common with any
other result of the same heads stays known.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from calibration.measured import Measured, Part, Source
from ingest.geometry.network.adjusting import Adjusted, adjust
from ingest.geometry.network.alarming import chi2_most, contradictory
from ingest.geometry.network.judging import CRITICAL_W, LEAST_REDUNDANCY
from ingest.geometry.network.results import ADJUSTMENT, Result, results
from ingest.geometry.network.stations import Network
from ingest.geometry.network.unknowns import F64

STANDS_ON = 0.01
"""A result stands on a reading that makes up more than this share of its uncertainty."""

NOTHING = 1e-15
"""Smaller parts of an uncertainty (rad, m) are rounding."""


Sources = Sequence[tuple[Source, slice]]
"""Sources of uncertainty, each with its columns of errors."""


@dataclass(frozen=True, eq=False)
class Told:
    """A result, and the places in the network of the readings that it stands on.

    ``errors`` (k,) are its own by ``sources``, rad or m; ``stands_on`` names records and studies.
    """

    result: Result
    readings: tuple[int, ...]
    sources: Sources = ()
    errors: F64 | None = None
    stands_on: frozenset[str] = frozenset()

    @cached_property
    def measured(self) -> Measured | None:
        """It with the parts of the readings, so with all that it has in common with others.

        None where it is not determined; without parts where it is so by definition.
        """
        found = self.result.measured
        if found is None or self.errors is None or not found.parts:
            return found
        values = self.errors.tolist()
        parts = (Part(source, tuple(values[columns])) for source, columns in self.sources)
        seen = (part for part in parts if any(abs(c) > NOTHING for c in part.components))
        return Measured(found.value, tuple(seen), self.stands_on)

    @property
    def u(self) -> float:
        """Its standard uncertainty, as that of ``measured`` and without making all the parts."""
        if self.errors is None:
            return 0.0 if self.result.measured is None else self.result.measured.u
        return float(np.sqrt(self.errors @ self.errors))

    @property
    def dof(self) -> float:
        """Its effective degrees of freedom, likewise (Welch-Satterthwaite, GUM G.2b)."""
        if self.errors is None:
            return math.inf if self.result.measured is None else self.result.measured.dof
        square = self.errors * self.errors
        tail = sum(
            float(square[columns].sum()) ** 2 / source.dof
            for source, columns in self.sources
            if source.dof < math.inf
        )
        return float(square.sum()) ** 2 / tail if tail > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class Solved:
    """An adjusted network.

    ``standardised`` holds, by the reading's place, how far it is off in units of what a gross
    error in it alone would show by (Baarda's w, for correlated readings after Teunissen, Testing
    Theory, 3.3); readings that nothing checks are left out. ``suspect`` is the one to distrust.
    """

    adjusted: Adjusted
    told: tuple[Told, ...]
    dof: int
    chi2: float
    chi2_most: float | None
    standardised: Mapping[int, float]
    suspect: int | None

    @property
    def fits(self) -> bool:
        """Whether the readings agree as well as sound ones do in 999 of 1000 cases."""
        return not contradictory(self.dof, self.chi2, self.standardised.values())


def solve(network: Network, read: Mapping[int, Measured]) -> Solved:
    """Adjust a network of correlated readings.

    Args:
        network: its readings' values and sigmas are not used, but for their ports.
        read: by place in the network, what was read (rad or m), with its uncertainty.

    Raises:
        MeasurementRefused: nothing was read, or no set of unknowns fits.
    """
    rows = sorted(read)
    sources, errors = errors_of([read[i] for i in rows])
    sigma = np.sqrt(np.einsum("ij,ij->i", errors, errors))
    u = dict(zip(rows, sigma.tolist(), strict=True))
    readings = [
        replace(reading, used=False)
        if i not in read
        else replace(reading, used=True, value=read[i].value, sigma=u[i])
        for i, reading in enumerate(network.readings)
    ]
    stations = tuple(
        replace(station, zero_sigma_rad=0.0, seat_sigma_m=0.0) for station in network.stations
    )
    mixing = None
    if rows:
        scaled = errors / sigma[:, None]
        mixing = np.linalg.inv(np.linalg.cholesky(scaled @ scaled.T))
    adjusted = adjust(replace(network, stations=stations, readings=tuple(readings)), mixing)
    names = frozenset((ADJUSTMENT,)).union(*(read[i].stands_on for i in rows))
    chi2 = float(adjusted.misfit @ adjusted.misfit)
    doubts = _doubts(adjusted)
    worst = max(doubts, key=lambda i: abs(doubts[i]), default=None)
    return Solved(
        adjusted,
        _told(adjusted, sources, errors, names),
        adjusted.dof,
        chi2,
        chi2_most(adjusted.dof),
        doubts,
        worst if worst is not None and abs(doubts[worst]) > CRITICAL_W else None,
    )


def errors_of(read: Sequence[Measured]) -> tuple[Sources, F64]:
    """Return the sources of n values, each with its columns, and the errors (n, k) by column.

    The errors times their transpose are the covariance of the values.
    """
    columns: dict[Source, slice] = {}
    width, put = 0, []
    for row, each in enumerate(read):
        for part in each.parts:
            found = columns.get(part.source)
            if found is None:
                found = columns[part.source] = slice(width, width + len(part.components))
                width = found.stop
            put.append((row, found.start, part.components))
    # Plain numbers are put in their places ten times as fast as slices of an array are.
    rows = [[0.0] * width for _ in read]
    for row, start, components in put:
        for column, component in enumerate(components, start):
            rows[row][column] += component
    return list(columns.items()), np.array(rows, dtype=np.float64).reshape(len(rows), width)


def _told(
    adjusted: Adjusted, sources: Sources, errors: F64, names: frozenset[str]
) -> tuple[Told, ...]:
    found = results(adjusted)
    forms = [r.quantity.form for r in found if r.measured is not None]
    slopes = np.reshape([form.slope for form in forms if form is not None], (len(forms), -1))
    gain = slopes @ adjusted.factored.inverse
    if adjusted.mixing is not None:
        gain = gain @ adjusted.mixing
    spread = gain / adjusted.sigma @ errors
    least = STANDS_ON * np.maximum(np.linalg.norm(spread, axis=1), NOTHING)
    stands = iter(np.abs(gain) > least[:, None])
    rows = iter(spread)
    return tuple(
        Told(each, ())
        if each.measured is None
        else Told(
            each,
            tuple(adjusted.rows[i] for i in np.flatnonzero(next(stands))),
            sources,
            next(rows),
            names,
        )
        for each in found
    )


def _doubts(adjusted: Adjusted) -> dict[int, float]:
    """Return w = c'v / sqrt(c'Rc) for a gross error in each reading: c its whitened direction,
    v the whitened misfits, R the projector onto them."""
    shown = np.eye(len(adjusted.misfit)) if adjusted.mixing is None else adjusted.mixing
    basis = adjusted.factored.basis
    left = shown - basis @ (basis.T @ shown)
    square = np.einsum("ij,ij->j", left, left)
    seen = square > LEAST_REDUNDANCY * np.einsum("ij,ij->j", shown, shown)
    w = shown.T @ adjusted.misfit / np.sqrt(np.where(seen, square, 1.0))
    return {adjusted.rows[i]: float(w[i]) for i in range(len(adjusted.rows)) if seen[i]}
