"""Readings that a network has not and could have, and in which set-up."""

import math
from collections.abc import Iterator

from ingest.core.units import DEG
from ingest.geometry.network.stations import Kind, Line, Network, Reading, Station

USUAL_SIGMA_RAD = 0.01 * DEG
USUAL_SIGMA_M = 0.005
"""Of an added reading, where the file has none of its kind; a tape's is common practice."""


def candidates(network: Network) -> tuple[Reading, ...]:
    """Return the directions and distances that could be read and are not.

    Blocked pairs have no direction; a tape is taken to reach wherever stations are. A direction is
    of each set-up with a head at both its ends; where there is none (``Network.allows``), it is of
    a further one, into which heads stay that the last has.
    """
    have = {
        (reading.kind, reading.line.at, reading.line.to)
        for reading in network.readings
        if reading.used
    }
    have |= {(Kind.DISTANCE, to, at) for kind, at, to in have if kind is Kind.DISTANCE}
    return tuple(
        reading
        for reading in _possible(network)
        if (reading.kind, reading.line.at, reading.line.to) not in have
    )


def _possible(network: Network) -> Iterator[Reading]:
    sigma_rad = _middle_sigma(network, Kind.DIRECTION, USUAL_SIGMA_RAD)
    sigma_m = _middle_sigma(network, Kind.DISTANCE, USUAL_SIGMA_M)
    states = network.states()
    heads = {state: network.heads(state) for state in states}
    for i, one in enumerate(network.stations):
        for j, other in enumerate(network.stations):
            if one is other or _together(one, other):
                continue
            line = Line(one.id, other.id)
            if one.is_wheel and network.sees(one.id, other.id):
                needed = {each.id for each in (one, other) if each.is_wheel}
                allowed = [state for state in states if needed <= heads[state]]
                for state in allowed or states[-1:]:
                    yield Reading(Kind.DIRECTION, line, sigma_rad, setup=state)
            if i < j and not (one.fixed and other.fixed):
                yield Reading(Kind.DISTANCE, line, sigma_m)


def where(network: Network, reading: Reading) -> str:
    """Return in which set-up a reading can be had, in words to follow it; nothing for a tape."""
    if not reading.is_angular:
        return ""
    if network.allows(reading):
        return f" in set-up {reading.setup}" if reading.setup else ""
    ends = [end for end in (reading.line.at, reading.line.to) if network.station(end).is_wheel]
    given = "" if len(network.setups) == 0 else ", as no set-up here has them"
    return f" in a further set-up, with heads on {' and '.join(ends)}{given}"


def _together(one: Station, other: Station) -> bool:
    return math.hypot(one.x_m - other.x_m, one.y_m - other.y_m) < 1e-3


def _middle_sigma(network: Network, kind: Kind, usual: float) -> float:
    sigmas = sorted(reading.sigma for reading in network.readings if reading.kind is kind)
    return sigmas[len(sigmas) // 2] if sigmas else usual
