"""Where an adjustment starts: approximate positions, headings that most readings agree on."""

from collections.abc import Sequence

import numpy as np

from ingest.geometry.network.observing import observing
from ingest.geometry.network.stations import Kind, Network, Reading
from ingest.geometry.network.unknowns import F64, Unknowns, start_of


def started(network: Network, unknowns: Unknowns, readings: Sequence[Reading]) -> F64:
    """Return approximate unknowns, shape (3n + t,).

    The heading of a wheel, or the orientation at a pin, is the median of what its directions make
    of it, so that one gross error among three moves nothing.
    """
    state = start_of(network, unknowns)
    directions = [reading for reading in readings if reading.kind is Kind.DIRECTION]
    if not directions:
        return state
    seen = observing(network, unknowns, directions)
    told, _ = seen.predict(state)
    observed = np.array([reading.value for reading in directions], dtype=np.float64)
    off = told - observed
    places = {int(row): int(place) for row, place in seen.headed}
    places |= {int(row): int(place) for row, place, sign in seen.turned if sign < 0}
    for place in set(places.values()):
        own = [row for row, where in places.items() if where == place]
        state[place] = _middle(off[own])
    return state


def _middle(angles_rad: F64) -> float:
    """Return the median of angles about one of them, so that none lies across the half turn."""
    best = min(
        angles_rad.tolist(),
        key=lambda one: float(np.abs(_wrapped(angles_rad - one)).sum()),
    )
    return float(best + np.median(_wrapped(angles_rad - best)))


def _wrapped(angle_rad: F64) -> F64:
    result: F64 = np.remainder(angle_rad + np.pi, 2.0 * np.pi) - np.pi
    return result
