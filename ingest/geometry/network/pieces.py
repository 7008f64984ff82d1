"""Which stations the readings tie to each other."""

from collections.abc import Iterable

import numpy as np

from ingest.geometry.network.adjusting import Adjusted
from ingest.geometry.network.stations import Network
from ingest.geometry.network.unknowns import F64

MOST_BASES = 40
"""Stations from which a rigid piece is looked for; a vehicle has fewer."""

STILL = 1e-6


def pieces(network: Network) -> tuple[tuple[str, ...], ...]:
    """Return the stations in the pieces that no reading ties together, the largest first.

    Fixed stations are tied to each other. A network in one piece gives one.
    """
    groups = [{station.id} for station in network.stations]
    _join(groups, (station.id for station in network.stations if station.fixed))
    for reading in network.readings:
        if reading.used:
            ends = [reading.line.at, reading.line.to]
            _join(groups, ends if reading.back is None else [*ends, reading.back.to])
    order = [station.id for station in network.stations]
    found = [tuple(s for s in order if s in group) for group in groups]
    return tuple(sorted(found, key=len, reverse=True))


def _join(groups: list[set[str]], stations: Iterable[str]) -> None:
    wanted = set(stations)
    touched = [group for group in groups if group & wanted]
    if len(touched) > 1:
        for group in touched:
            groups.remove(group)
        groups.append(set().union(*touched))


def placed(adjusted: Adjusted) -> frozenset[str]:
    """Return the stations whose positions are determined, but for what is a matter of datum.

    A free network may lie anywhere, turned and (with no distance) of any scale. Whatever else is
    not determined moves some stations against the rest: those that are left are the largest set
    which stays still when two of it are held.
    """
    network, unknowns = adjusted.network, adjusted.unknowns
    ids = [station.id for station in network.stations]
    null = adjusted.factored.null[unknowns.coordinates] / adjusted.factored.size[0]
    null = null.reshape(len(ids), 2, null.shape[1])
    if null.shape[2] == 0:
        return frozenset(ids)
    best: frozenset[str] = frozenset()
    for i in range(min(len(ids), MOST_BASES)):
        for j in range(i + 1, min(len(ids), MOST_BASES)):
            if len(best) == len(ids):
                return best
            moving = _moving(null, i, j)
            still = frozenset(s for s, moves in zip(ids, moving, strict=True) if moves < STILL)
            best = max(best, still, key=len)
    return best


def _moving(null: F64, i: int, j: int) -> F64:
    """Return how far each station moves, shape (n,), while stations i and j are held."""
    held = np.concatenate((null[i], null[j]))
    _, singular, vt = np.linalg.svd(held, full_matrices=True)
    rank = int(np.count_nonzero(singular > STILL))
    result: F64 = np.sqrt(np.square(null @ vt[rank:].T).sum(axis=(1, 2)))
    return result
