"""Places and names in a network file that cannot be."""

import math
from collections.abc import Iterator
from itertools import combinations

from ingest.core.frames import Side
from ingest.geometry.network.stations import Network, Reading, Station
from ingest.geometry.network.unknowns import unknowns_of
from ingest.payload.network_file import AngleEntry, NetworkFile, NetworkFileError

FARTHEST_M = 100.0
"""No two wheels of one vehicle are farther apart."""

NEAREST_M = 1e-3
SHORTEST_LINE_M = 0.1

MOST_UNKNOWNS = 400
"""Several times those of any vehicle; seconds of work."""


def check_stations(stations: tuple[Station, ...]) -> None:
    """Refuse ids and wheels that are there twice, mirrored axles and places in mm.

    Raises: ``NetworkFileError``.
    """
    for i, j in combinations(range(len(stations)), 2):
        one, other = stations[i], stations[j]
        where = f"stations[{j}] ({other.id})"
        if one.id == other.id:
            raise NetworkFileError(
                f"{where}: stations[{i}] has the same id; every id is given once"
            )
        apart = math.hypot(one.x_m - other.x_m, one.y_m - other.y_m)
        if apart < NEAREST_M and one.is_wheel == other.is_wheel:
            raise NetworkFileError(f"{where}: stands where {one.id} stands; correct x_m, y_m")
        if not (one.is_wheel and other.is_wheel):
            continue
        left, right = (one, other) if one.side is Side.LEFT else (other, one)
        if one.axle == other.axle and one.side != other.side and left.y_m <= right.y_m:
            reason = f"left wheel {left.id} lies right of {right.id}; y_m grows to the left"
            raise NetworkFileError(f"{where}: {reason}, x_m forward")
        if apart > FARTHEST_M:
            reason = f"{apart:g} m from {one.id}; positions are in metres, are these in mm?"
            raise NetworkFileError(f"{where}: {reason}")
        if (one.axle, one.side) == (other.axle, other.side):
            reason = f"axle {one.axle} {one.side} is {one.id} already; a dual counts as one wheel"
            raise NetworkFileError(f"{where}: {reason}")


def check_ends(stations: tuple[Station, ...], readings: tuple[Reading, ...]) -> None:
    """Refuse a line between two stations at one place. Raises ``NetworkFileError``."""
    place = {station.id: (station.x_m, station.y_m) for station in stations}
    for i, reading in enumerate(readings):
        for line in reading.lines():
            if math.dist(place[line.at], place[line.to]) < NEAREST_M:
                reason = f"{line.at} and {line.to} stand at one place; correct x_m, y_m"
                raise NetworkFileError(f"observations[{i}]: {reason}")


def check_line(network: Network) -> None:
    """Refuse a centre line through two ends at one place: it has no direction.

    Raises: ``NetworkFileError``.
    """
    ends = []
    for end in network.wanted.centre_line or ():
        wheels = [s for s in network.wheels() if s.axle == end]
        spots = wheels if isinstance(end, int) else [network.station(end)]
        x, y = (sum(c) / len(spots) for c in zip(*((s.x_m, s.y_m) for s in spots), strict=True))
        ends.append((x, y))
    if ends and math.dist(*ends) < SHORTEST_LINE_M:
        one, other = network.wanted.centre_line or ("", "")
        reason = f"{one} and {other} stand within {SHORTEST_LINE_M:g} m; take ends farther apart"
        raise NetworkFileError(f"centre_line: {reason}")


def check_pairs(file: NetworkFile) -> None:
    """Refuse what takes two and has one. Raises ``NetworkFileError``."""
    if len(set(file.steer_axles)) < len(file.steer_axles):
        raise NetworkFileError(f"steer_axles: {file.steer_axles[0]} twice; name both, or one")
    for i, (one, other) in enumerate(file.blocked):
        if one == other:
            raise NetworkFileError(
                f"blocked[{i}]: {one} twice; name the two that cannot see each other"
            )


def check_size(network: Network) -> None:
    """Refuse a network whose mountings would make the work endless. Raises ``NetworkFileError``."""
    count = len(unknowns_of(network).free)
    if count > MOST_UNKNOWNS:
        reason = f"{count} unknowns with the zeros and seats of every mounting, limit"
        raise NetworkFileError(
            f"setups: {reason} {MOST_UNKNOWNS}; name heads that stay, or leave out stations"
        )


def named(file: NetworkFile) -> Iterator[tuple[str, str]]:
    """Yield every use of a station's id, with where it stands."""
    for i, entry in enumerate(file.observations):
        names = [entry.at, entry.to]
        if isinstance(entry, AngleEntry):
            names.append(entry.from_)
        yield from ((f"observations[{i}]", name) for name in names)
    for i, check in enumerate(file.checks):
        yield from ((f"checks[{i}]", name) for name in (check.at, check.to))
    for i, pair in enumerate(file.blocked):
        yield from ((f"blocked[{i}]", name) for name in pair)
    for i, setup in enumerate(file.setups):
        yield from ((f"setups[{i}].stayed", name) for name in setup.stayed)
    ends = file.centre_line or ()
    yield from (("centre_line", end) for end in ends if isinstance(end, str))
