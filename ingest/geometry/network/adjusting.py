"""The adjustment of a network: weighted least squares by Gauss-Newton, with its covariance."""

import math
from dataclasses import dataclass, replace

import numpy as np

from ingest.core.errors import MeasurementRefused
from ingest.geometry.network.factoring import Factored, factor, step
from ingest.geometry.network.starting import started
from ingest.geometry.network.stations import Network
from ingest.geometry.network.systems import System, system_of
from ingest.geometry.network.unknowns import F64, Unknowns, start_of, unknowns_of

MOST_STEPS = 40
SMALL_STEP = 1e-11
"""Of a network's extent, or rad: no further step is worth taking."""

ROBUST_STEPS = 6
HUBER = 2.0
"""Beyond so many sigmas a reading pulls no harder, while the start is looked for."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """An adjusted network. Of its m used readings: ``rows`` (m,) are their numbers in the file.

    The whitened system has m + s rows, the last s of which hold zeros and seats of heads at
    nothing, each with its sigma; ``sigma`` (m + s,) whitens it. ``misfit`` (m + s,) is whitened,
    adjusted minus observed. ``state`` are the unknowns in the order of ``Unknowns``, rad and m.
    """

    network: Network
    unknowns: Unknowns
    rows: tuple[int, ...]
    sigma: F64
    state: F64
    factored: Factored
    misfit: F64
    mixing: F64 | None = None
    """Of readings that err together: what makes the rows over their sigmas independent."""

    @property
    def held(self) -> tuple[int, ...]:
        """Numbers of the zeros and seats that their sigmas hold, in the order of the last rows."""
        return tuple(i for i, each in enumerate(self.unknowns.mounted) if each.sigma is not None)

    @property
    def dof(self) -> int:
        """Degrees of freedom."""
        return len(self.sigma) - self.factored.rank

    @property
    def covariance(self) -> F64:
        """Covariance of the unknowns, shape (p, p), in the datum of the inner constraints."""
        result: F64 = self.factored.inverse @ self.factored.inverse.T
        return result


def adjust(network: Network, mixing: F64 | None = None) -> Adjusted:
    """Adjust a network from its approximate positions.

    Args:
        network: what was read.
        mixing: for readings that err together (generalised least squares), shape (m + s, m + s):
            what makes the rows over their sigmas independent, such as the inverse of the
            Cholesky factor of their correlation matrix.

    Raises:
        MeasurementRefused: no reading is used, or no set of unknowns fits the readings.
    """
    rows = _used(network)
    readings = [network.readings[i] for i in rows]
    unknowns = unknowns_of(network)
    system = replace(system_of(network, unknowns, readings), mixing=mixing)
    start = started(network, system.observing, system.observed)
    found = _descend(system, start)
    if found is None:
        found = _descend(system, _robust(system, start))
    if found is None:
        reason = (
            f"no positions fit the readings within {MOST_STEPS} steps; check the approximate "
            "positions and look for gross errors"
        )
        raise MeasurementRefused("no-convergence", reason, figure=MOST_STEPS, limit=MOST_STEPS)
    return _adjusted(network, rows, system, found)


def designed(network: Network) -> Adjusted:
    """Return the network as if every reading had come out as its positions make it.

    Raises:
        MeasurementRefused: no reading is planned.
    """
    rows = _used(network)
    readings = [replace(network.readings[i], value=0.0) for i in rows]
    unknowns = unknowns_of(network)
    system = system_of(network, unknowns, readings)
    state = start_of(network, unknowns)
    return _adjusted(network, rows, system, state, blank=True)


def _used(network: Network) -> tuple[int, ...]:
    rows = tuple(i for i, reading in enumerate(network.readings) if reading.used)
    if not rows:
        reason = "the network has no reading to adjust; add sightlines and tape distances"
        raise MeasurementRefused("no-readings", reason, figure=0.0, limit=1.0)
    return rows


def _adjusted(
    network: Network, rows: tuple[int, ...], system: System, state: F64, *, blank: bool = False
) -> Adjusted:
    misfit, jacobian = system.misfit(state)
    if blank:
        misfit = np.zeros_like(misfit)
    factored = factor(jacobian, system.unknowns, state)
    return Adjusted(
        network, system.unknowns, rows, system.sigma, state, factored, misfit, system.mixing
    )


def _descend(system: System, state: F64) -> F64 | None:
    """Return where Gauss-Newton ends, None where it does not.

    The last step is always that of a fresh factoring, so that the end does not hang on an old one.
    """
    misfit, jacobian = system.misfit(state)
    near: Factored | None = None
    for _ in range(MOST_STEPS):
        fresh = near is None
        if near is None:
            near = factor(jacobian, system.unknowns, state)
            change = -near.inverse @ misfit
        else:
            change = _step(system, jacobian, misfit, near, state)
        longest = float(np.abs(change / system.unknowns.size).max())
        if not math.isfinite(longest):
            return None
        if longest < SMALL_STEP and fresh:
            return state + change
        taken = _shortened(system, state, change, float(misfit @ misfit))
        if taken is None:
            return state if longest < math.sqrt(SMALL_STEP) else None
        state, misfit, jacobian = taken
        if longest < SMALL_STEP:
            near = None
    return None


def _step(system: System, jacobian: F64, misfit: F64, near: Factored, state: F64) -> F64:
    try:
        return step(jacobian, misfit, system.unknowns, near)
    except np.linalg.LinAlgError:
        return -factor(jacobian, system.unknowns, state).inverse @ misfit


def _shortened(system: System, state: F64, change: F64, cost: float) -> tuple[F64, F64, F64] | None:
    """Return the state after a step that does not make it worse, halved as often as needed."""
    for halving in range(12):
        there = state + change * 0.5**halving
        misfit, jacobian = system.misfit(there)
        if float(misfit @ misfit) <= cost * (1.0 + 1e-12) + 1e-18:
            return there, misfit, jacobian
    return None


def _robust(system: System, state: F64) -> F64:
    """Return a start that gross errors pull no harder than other readings do."""
    for _ in range(ROBUST_STEPS):
        misfit, jacobian = system.misfit(state)
        weight = np.sqrt(np.minimum(1.0, HUBER / np.maximum(np.abs(misfit), HUBER)))
        change = -factor(jacobian * weight[:, None], system.unknowns, state).inverse @ (
            misfit * weight
        )
        longest = float(np.abs(change / system.unknowns.size).max())
        state = state + change * min(1.0, 0.3 / max(longest, 1e-12))
    return state
