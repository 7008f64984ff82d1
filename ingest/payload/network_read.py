"""From the network file to a network: ids looked up, degrees to radians, what cannot be refused."""

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.network.plausible import first_fault
from ingest.geometry.network.stations import (
    Kind,
    Line,
    Network,
    Reading,
    Setup,
    Station,
    Wanted,
)
from ingest.payload.network_file import (
    AngleEntry,
    AzimuthEntry,
    CheckEntry,
    DirectionEntry,
    DistanceEntry,
    Entry,
    NetworkFile,
    NetworkFileError,
    StationEntry,
)

FARTHEST_M = 100.0
"""No two wheels of one vehicle are farther apart."""

NEAREST_M = 1e-3
SHORTEST_LINE_M = 0.1


def network_of(file: NetworkFile, *, design: bool = False) -> Network:
    """Return the network of a file. In a ``design`` values may be missing and are not used.

    Raises:
        NetworkFileError: ids unknown or doubled, places or readings that cannot be.
    """
    stations = tuple(_station(i, entry) for i, entry in enumerate(file.stations))
    _check_stations(stations)
    ids = frozenset(station.id for station in stations)
    for where, used in _named(file):
        if used not in ids:
            raise NetworkFileError(f"{where}: no station {used}; there are {_list(ids)}")
    pins = frozenset(station.id for station in stations if not station.is_wheel)
    blocked = frozenset(frozenset(pair) for pair in file.blocked)
    setups = _setups(file)
    readings = tuple(
        _reading(f"observations[{i}]", entry, setups, pins)
        for i, entry in enumerate(file.observations)
    )
    _check_ends(stations, readings)
    network = Network(
        stations,
        readings,
        _wanted(file, stations),
        setups,
        blocked,
        tuple(_check(f"checks[{i}]", entry) for i, entry in enumerate(file.checks)),
    )
    _check_line(network)
    return _planned(network) if design else _measured(network)


def _setups(file: NetworkFile) -> tuple[Setup, ...]:
    names = [entry.id for entry in file.setups]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise NetworkFileError(
                f"setups[{i}]: {name} is there twice; every set-up is listed once"
            )
    return tuple(Setup(entry.id, frozenset(entry.stayed)) for entry in file.setups)


def _planned(network: Network) -> Network:
    """Leave out what a blocked sightline would read, and every value."""
    readings = (
        replace(reading, value=None, used=reading.used and not is_blocked(network, reading))
        for reading in network.readings
    )
    return replace(network, readings=tuple(readings))


def _measured(network: Network) -> Network:
    for i, reading in enumerate(network.readings):
        where = f"observations[{i}]"
        if reading.value is None and reading.used:
            key = "angle_deg" if reading.is_angular else "distance_m"
            raise NetworkFileError(
                f"{where}: no {key}; add what was read, or set use to false (--design needs none)"
            )
        if reading.used and is_blocked(network, reading):
            raise NetworkFileError(
                f"{where}: {reading.named()} was read, yet blocked names that pair; take one out"
            )
    fault = first_fault(network)
    if fault is not None:
        raise NetworkFileError(f"observations[{fault.index}]: {fault.reason}")
    return network


def is_blocked(network: Network, reading: Reading) -> bool:
    """Return whether a reading runs along a sightline that cannot exist. Tapes reach round."""
    if not reading.is_angular:
        return False
    lines = [reading.line] if reading.back is None else [reading.line, reading.back]
    return not all(network.sees(line.at, line.to) for line in lines)


def _station(i: int, entry: StationEntry) -> Station:
    where = f"stations[{i}] ({entry.id})"
    if (entry.side is None) != (entry.axle is None):
        raise NetworkFileError(f"{where}: a wheel has both axle and side, a pin has neither")
    if entry.side is None and entry.zero_sigma_deg:
        raise NetworkFileError(f"{where}: zero_sigma_deg is of a wheel's head; a pin has none")
    return Station(
        entry.id,
        entry.x_m,
        entry.y_m,
        entry.z_m,
        entry.axle,
        None if entry.side is None else Side(entry.side),
        entry.fixed,
        entry.zero_sigma_deg * DEG,
    )


def _check_stations(stations: tuple[Station, ...]) -> None:
    for i, j in combinations(range(len(stations)), 2):
        one, other = stations[i], stations[j]
        where = f"stations[{j}] ({other.id})"
        if one.id == other.id:
            raise NetworkFileError(
                f"{where}: stations[{i}] has the same id; every id is given once"
            )
        apart = math.hypot(one.x_m - other.x_m, one.y_m - other.y_m)
        if apart < NEAREST_M and one.is_wheel and other.is_wheel:
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


def _check_ends(stations: tuple[Station, ...], readings: tuple[Reading, ...]) -> None:
    place = {station.id: (station.x_m, station.y_m) for station in stations}
    for i, reading in enumerate(readings):
        for line in [reading.line] if reading.back is None else [reading.line, reading.back]:
            if math.dist(place[line.at], place[line.to]) < NEAREST_M:
                reason = f"{line.at} and {line.to} stand at one place; correct x_m, y_m"
                raise NetworkFileError(f"observations[{i}]: {reason}")


def _check_line(network: Network) -> None:
    """Refuse a centre line through two ends at one place: it has no direction."""
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


def _named(file: NetworkFile) -> Iterator[tuple[str, str]]:
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


def _reading(where: str, entry: Entry, setups: tuple[Setup, ...], pins: frozenset[str]) -> Reading:
    setup = _setup(where, entry.setup, setups)
    line = _line(where, Line(entry.at, entry.to, entry.at_port_m, entry.to_port_m), pins)
    if isinstance(entry, DistanceEntry):
        return Reading(Kind.DISTANCE, line, entry.sigma_m, entry.distance_m, None, setup, entry.use)
    value = None if entry.angle_deg is None else entry.angle_deg * DEG
    sigma = entry.sigma_deg * DEG
    if isinstance(entry, DirectionEntry):
        return Reading(Kind.DIRECTION, line, sigma, value, None, setup, entry.use)
    if isinstance(entry, AzimuthEntry):
        return Reading(Kind.AZIMUTH, line, sigma, value, None, setup, entry.use)
    port = entry.at_port_m if entry.at_from_port_m is None else entry.at_from_port_m
    back = _line(where, Line(entry.at, entry.from_, port, entry.from_port_m), pins)
    if entry.from_ == entry.to:
        raise NetworkFileError(f"{where}: from and to are both {entry.to}; an angle needs two")
    return Reading(Kind.ANGLE, line, sigma, value, back, setup, entry.use)


def _setup(where: str, name: str | None, setups: tuple[Setup, ...]) -> str:
    if name is not None and name not in [setup.id for setup in setups]:
        raise NetworkFileError(f"{where}: no set-up {name}; list it in setups")
    if name is None and setups:
        raise NetworkFileError(f"{where}: setup is missing; the file has {len(setups)} set-ups")
    return name or ""


def _line(where: str, line: Line, pins: frozenset[str]) -> Line:
    if line.at == line.to:
        raise NetworkFileError(f"{where}: at and to are both {line.at}; a line needs two stations")
    for station, port in ((line.at, line.at_port_m), (line.to, line.to_port_m)):
        if station in pins and port != (0.0, 0.0):
            reason = f"a port at {station}, a pin, which has no heading to count it from"
            raise NetworkFileError(f"{where}: {reason}; make it a wheel, or take the port out")
    return line


def _check(where: str, entry: CheckEntry) -> Reading:
    line = _line(where, Line(entry.at, entry.to), frozenset())
    return Reading(Kind.DISTANCE, line, entry.sigma_m, entry.distance_m)


def _wanted(file: NetworkFile, stations: tuple[Station, ...]) -> Wanted:
    axles = frozenset(station.axle for station in stations if station.axle is not None)
    wheels = frozenset(station.id for station in stations if station.is_wheel)
    line = file.centre_line
    asked = [("centre_line", end) for end in line or () if isinstance(end, int)]
    asked += [("drive_axles", axle) for axle in file.drive_axles]
    asked += [("steer_axles", axle) for axle in file.steer_axles]
    if file.reference_axle is not None:
        asked.append(("reference_axle", file.reference_axle))
    for where, axle in asked:
        if axle not in axles:
            raise NetworkFileError(f"{where}: no axle {axle}; there are {_list(axles)}")
    for end in line or ():
        if end in wheels:
            raise NetworkFileError(f"centre_line: {end} is a wheel; name axles by number, or a pin")
    if line is not None and line[0] == line[1]:
        raise NetworkFileError(f"centre_line: {line[0]} twice; it runs through two")
    return Wanted(line, file.reference_axle, file.drive_axles, file.steer_axles)


def _list(names: frozenset[str] | frozenset[int]) -> str:
    shown = ", ".join(map(str, sorted(names)[:12])) or "none"
    return shown + (", ..." if len(names) > 12 else "")
