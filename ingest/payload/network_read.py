"""From the network file to a network: ids looked up, degrees to radians, what cannot be refused."""

from dataclasses import replace

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.network.plausible import first_fault, first_odd_check
from ingest.geometry.network.stations import (
    Kind,
    Line,
    Network,
    Reading,
    Setup,
    Station,
    Wanted,
)
from ingest.payload.network_checks import (
    check_ends,
    check_line,
    check_pairs,
    check_size,
    check_stations,
    named,
)
from ingest.payload.network_file import (
    AzimuthEntry,
    CheckEntry,
    DirectionEntry,
    DistanceEntry,
    Entry,
    NetworkFile,
    NetworkFileError,
    StationEntry,
)


def network_of(file: NetworkFile, *, design: bool = False) -> Network:
    """Return the network of a file. In a ``design`` values may be missing and are not used.

    Raises:
        NetworkFileError: ids unknown or doubled, places or readings that cannot be.
    """
    check_pairs(file)
    stations = tuple(_station(i, entry) for i, entry in enumerate(file.stations))
    check_stations(stations)
    ids = frozenset(station.id for station in stations)
    for where, used in named(file):
        if used not in ids:
            raise NetworkFileError(f"{where}: no station {used}; there are {_list(ids)}")
    pins = frozenset(station.id for station in stations if not station.is_wheel)
    blocked = frozenset(frozenset(pair) for pair in file.blocked)
    setups = _setups(file)
    readings = tuple(
        _reading(f"observations[{i}]", entry, setups, pins)
        for i, entry in enumerate(file.observations)
    )
    check_ends(stations, readings)
    network = Network(
        stations,
        readings,
        _wanted(file, stations),
        setups,
        blocked,
        tuple(_check(f"checks[{i}]", entry) for i, entry in enumerate(file.checks)),
    )
    check_line(network)
    check_size(network)
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
    fault = first_odd_check(network)
    if fault is not None:
        raise NetworkFileError(f"checks[{fault.index}]: {fault.reason}")
    return network


def is_blocked(network: Network, reading: Reading) -> bool:
    """Return whether a reading runs along a sightline that cannot exist. Tapes reach round."""
    if not reading.is_angular:
        return False
    lines = reading.lines()
    return not all(network.sees(line.at, line.to) for line in lines)


def _station(i: int, entry: StationEntry) -> Station:
    where = f"stations[{i}] ({entry.id})"
    if (entry.side is None) != (entry.axle is None):
        raise NetworkFileError(f"{where}: a wheel has both axle and side, a pin has neither")
    if entry.side is None and (entry.zero_sigma_deg or entry.seat_sigma_m):
        reason = "zero_sigma_deg and seat_sigma_m are of a wheel's head; a pin has none"
        raise NetworkFileError(f"{where}: {reason}")
    return Station(
        entry.id,
        entry.x_m,
        entry.y_m,
        entry.z_m,
        entry.axle,
        None if entry.side is None else Side(entry.side),
        entry.fixed,
        entry.zero_sigma_deg * DEG,
        entry.seat_sigma_m,
    )


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
