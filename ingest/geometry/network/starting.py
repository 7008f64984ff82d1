"""Where an adjustment starts: approximate positions, headings that most readings agree on."""

import numpy as np

from ingest.geometry.network.observing import Observing
from ingest.geometry.network.stations import Network
from ingest.geometry.network.unknowns import F64, start_of


def started(network: Network, seen: Observing, observed: F64) -> F64:
    """Return approximate unknowns, shape (3n + t,), for readings ``observed`` (m,), rad and m.

    The heading of a wheel, or the orientation at a pin, is the median of what its directions make
    of it, so that one gross error among three moves nothing.
    """
    state = start_of(network, seen.unknowns)
    told, _ = seen.predict(state)
    off = told - observed
    places = {int(row): int(place) for row, place in seen.headed}
    places |= {int(row): int(place) for row, place, sign in seen.turned if sign < 0}
    rows: dict[int, list[int]] = {}
    for row, place in places.items():
        rows.setdefault(place, []).append(row)
    for place, own in rows.items():
        state[place] = _middle(off[own])
    return state


def _middle(angles_rad: F64) -> float:
    """Return the median of angles about one of them, so that none lies across the half turn."""
    apart = angles_rad - angles_rad[:, None]
    apart = np.remainder(apart + np.pi, 2.0 * np.pi) - np.pi
    best = int(np.abs(apart).sum(axis=1).argmin())
    in_order = np.sort(apart[best])
    half = len(in_order) // 2
    return float(angles_rad[best] + (in_order[half] + in_order[-1 - half]) / 2.0)
