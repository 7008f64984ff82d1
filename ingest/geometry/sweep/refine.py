"""Weighted least squares on the readings of one or two sides, from the linear solution on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.leastsquares import factor
from ingest.geometry.sweep.linear import unsettled
from ingest.geometry.sweep.motion import ROLL, SWING, UNKNOWNS, observed, slopes
from ingest.geometry.sweep.readings import Sweep, SweepNoise
from ingest.geometry.sweep.weights import Weights

F64 = NDArray[np.float64]

PASSES = 12
SETTLED = 1e-8
"""A step this small (rad) is the last: the next would be smaller by some 1e4."""


@dataclass(frozen=True, slots=True)
class Refined:
    """A settled fit of one side or two, whose unknowns stand one side after the other.

    ``unknowns``: for each side a row (5,), see ``motion``. ``places``: for each side where its
    unknowns that were fitted stand in ``cofactor`` (p, p), in the order of ``free``; an axle's
    roll stands there once. ``design`` (m, p) and ``whitened`` (m,) residuals carry unit weight.
    ``basis`` (m, p) spans the design's columns and is orthonormal. ``residuals`` and ``by_steer``:
    for each side (c, n), rad; ``by_unknowns``: (c, n, 5), the slopes by all unknowns.
    """

    sweeps: tuple[Sweep, ...]
    unknowns: tuple[F64, ...]
    free: tuple[tuple[int, ...], ...]
    places: tuple[tuple[int, ...], ...]
    design: F64
    basis: F64
    whitened: F64
    cofactor: F64
    residuals: tuple[F64, ...]
    by_unknowns: tuple[F64, ...]
    by_steer: tuple[F64, ...]
    weights: tuple[Weights, ...]

    @property
    def dof(self) -> int:
        """Readings less unknowns."""
        return len(self.whitened) - len(self.cofactor)

    @property
    def gain(self) -> F64:
        """Return how far the unknowns move by whitened errors of the readings, shape (p, m)."""
        return np.asarray(self.cofactor @ self.design.T)


def free_unknowns(sweep: Sweep, *, roll: bool) -> tuple[int, ...]:
    """Return the places, in a row of unknowns, of those that are fitted."""
    fixed = set() if sweep.locked else {SWING}
    return tuple(i for i in range(UNKNOWNS) if i not in fixed and (roll or i != ROLL))


def refine(
    sweeps: Sequence[Sweep],
    start: Sequence[F64],
    weigh: SweepNoise | Sequence[Weights] | None,
    *,
    roll: bool,
    max_condition: float,
) -> Refined:
    """Fit the unknowns to the readings (Gauss-Newton).

    Args:
        sweeps: one side, or two that share the axle's roll.
        start: their rows of unknowns from ``solve_linear``.
        weigh: the noise of the readings, or weights for each side; None: all weigh one.

    Raises:
        NotEnoughRotation: the readings do not determine the unknowns.
        MeasurementRefused: ``unsettled``.
    """
    free = tuple(free_unknowns(sweep, roll=roll) for sweep in sweeps)
    places = _places(free)
    size = 1 + max(max(each) for each in places)
    rows = [row.copy() for row in start]
    if roll:
        for row in rows:
            row[ROLL] = float(np.mean([each[ROLL] for each in start]))
    for _ in range(PASSES):
        state = _linearised(sweeps, rows, free, places, size, weigh, max_condition)
        if state is None:
            break
        step = state.gain @ state.whitened
        rows = [_moved(row, step, *each) for row, *each in zip(rows, free, places, strict=True)]
        if np.abs(step).max() < SETTLED:
            return replace(state, unknowns=tuple(rows))
    raise unsettled()


def _places(free: Sequence[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """Give each unknown its place: side after side, the axle's roll last and once."""
    count = sum(len([i for i in each if i != ROLL]) for each in free)
    found, at = [], 0
    for each in free:
        own = [i for i in each if i != ROLL]
        found.append((*range(at, at + len(own)), *([count] if ROLL in each else [])))
        at += len(own)
    return tuple(found)


def _linearised(
    sweeps: Sequence[Sweep],
    rows: Sequence[F64],
    free: tuple[tuple[int, ...], ...],
    places: tuple[tuple[int, ...], ...],
    size: int,
    weigh: SweepNoise | Sequence[Weights] | None,
    max_condition: float,
) -> Refined | None:
    """Return the fit's state at these unknowns; None where they give no angles."""
    told = [slopes(sweep, row) for sweep, row in zip(sweeps, rows, strict=True)]
    if not all(np.isfinite(part).all() for each in told for part in each):
        return None
    residuals = [observed(sweep) - each[0] for sweep, each in zip(sweeps, told, strict=True)]
    weights = _weights(told, weigh)
    designs = []
    for side, ((_, by_unknowns, _), weight) in enumerate(zip(told, weights, strict=True)):
        design = np.zeros((residuals[side].size, size))
        design[:, places[side]] = weight.whiten(by_unknowns[:, :, free[side]])
        designs.append(design)
    pairs = zip(weights, residuals, strict=True)
    matrix = np.concatenate(designs)
    factored = factor(matrix, max_condition=max_condition)
    return Refined(
        tuple(sweeps),
        tuple(row.copy() for row in rows),
        free,
        places,
        matrix,
        factored.basis,
        np.concatenate([weight.whiten(rest) for weight, rest in pairs]),
        factored.cofactor,
        tuple(residuals),
        tuple(by_unknowns for _, by_unknowns, _ in told),
        tuple(by_steer for *_, by_steer in told),
        tuple(weights),
    )


def _weights(
    told: Sequence[tuple[F64, F64, F64]], weigh: SweepNoise | Sequence[Weights] | None
) -> list[Weights]:
    """Return the weights of each side, whose slopes were told."""
    if weigh is None:
        return [Weights.equal(*readings.shape) for readings, *_ in told]
    if isinstance(weigh, SweepNoise):
        return [Weights.of_noise(weigh, by_steer) for *_, by_steer in told]
    return list(weigh)


def _moved(row: F64, step: F64, free: tuple[int, ...], places: tuple[int, ...]) -> F64:
    moved = row.copy()
    moved[list(free)] += step[list(places)]
    return moved
