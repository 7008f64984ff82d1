"""The network file of a vehicle: what a unit's network is before any head has read."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from ingest.core.units import DEG
from ingest.geometry.network.stations import Kind, Line, Reading, Station
from ingest.job.vehicle.axles import Wheel
from ingest.job.vehicle.network import Sighting, UnitNetwork, unit_network
from ingest.job.vehicle.reference import PIN
from ingest.job.vehicle.vehicle import Unit, Vehicle
from ingest.payload.network_file import NetworkFile

TapesM = Mapping[frozenset[str], float]
"""What was taped, m, by the two stations."""

TRACK_SIGMA_M = 0.008
"""How well a vehicle's file knows how far its hubs are apart, where nobody taped it: all that a
network needs of it is its scale."""
WHEELBASE_SIGMA_M = 0.03
"""The same along a side, where axles that stand askew shorten it: next to a sightline it weighs
nothing, and holds together what no sightline joins yet."""


def job_networks(
    vehicle: Vehicle,
    taped: Mapping[str, tuple[float, float]],
    sighting: Sighting | None = None,
) -> tuple[NetworkFile, ...]:
    """Return the networks that heads fill in a job, one a unit.

    Tracks and wheelbases stand in for tapes that nobody read. A towed unit without the tapes at its
    pin has no line to be told against, and is left out until they are there.

    Args:
        vehicle: the vehicle.
        taped: distances and their standard uncertainties, m, by line (``L1-R1``, ``P-L3``).
        sighting: where the ports of heads are whose records do not say so.
    """
    read = {frozenset(line.split("-")): each for line, each in taped.items()}
    files = []
    for unit in vehicle.units:
        found = unit_network(vehicle, unit, sighting)
        if unit.coupling is not None and not all(
            frozenset((PIN, wheel.id)) in read for wheel in vehicle.axles_of(unit)[0].wheels
        ):
            continue
        readings = tuple(
            known
            for place, reading in enumerate(found.network.readings)
            if (known := _known(vehicle, reading, read, sight=place in found.channels)) is not None
        )
        readings += tuple(_further(vehicle, unit))
        channels = [c for _, c in sorted(found.channels.items())]
        network = replace(found.network, readings=readings)
        kept = UnitNetwork(unit.id, network, dict(enumerate(channels)))
        values = {
            frozenset((r.line.at, r.line.to)): r.value for r in readings if r.value is not None
        }
        files.append(network_file_of(kept, f"{vehicle.name}: {unit.id}", values))
    return tuple(files)


def is_check(at: str, to: str) -> bool:
    """Say whether a tape is kept out of the network, to prove it: all between two axles are."""
    return PIN not in (at, to) and Wheel.named(at).axle != Wheel.named(to).axle


def _known(
    vehicle: Vehicle,
    reading: Reading,
    read: Mapping[frozenset[str], tuple[float, float]],
    *,
    sight: bool,
) -> Reading | None:
    """Return a reading with its tape, or what stands in for it; None without either."""
    if sight:
        return reading
    ends = frozenset((reading.line.at, reading.line.to))
    if ends in read and not is_check(reading.line.at, reading.line.to):
        value, sigma = read[ends]
        return replace(reading, value=value, sigma=sigma)
    if PIN in ends:
        return None
    one, other = (Wheel.named(name) for name in (reading.line.at, reading.line.to))
    if one.axle == other.axle:
        return replace(reading, value=vehicle.axle(one.axle).track_m, sigma=TRACK_SIGMA_M)
    return replace(reading, value=_apart_m(vehicle, one, other), sigma=WHEELBASE_SIGMA_M)


def _further(vehicle: Vehicle, unit: Unit) -> Iterator[Reading]:
    """Yield the wheelbases between axles that are not neighbours.

    When an axle was turned at, what tied it to those between is gone, and heads at two axles far
    apart must do: their sightlines hardly tell how far that is.
    """
    axles = vehicle.axles_of(unit)
    for at, front in enumerate(axles):
        for rear in axles[at + 2 :]:
            for one, other in zip(front.wheels, rear.wheels, strict=True):
                line, apart_m = Line(one.id, other.id), _apart_m(vehicle, one, other)
                yield Reading(Kind.DISTANCE, line, WHEELBASE_SIGMA_M, apart_m)


def _apart_m(vehicle: Vehicle, one: Wheel, other: Wheel) -> float:
    return abs(vehicle.axle(one.axle).behind_m - vehicle.axle(other.axle).behind_m)


def network_file_of(found: UnitNetwork, about: str, tapes_m: TapesM | None = None) -> NetworkFile:
    """Return the network of a unit as its file.

    Args:
        found: the unit's network.
        about: what it says of itself.
        tapes_m: distances that were taped; those that are not here have no value, which does for
            a design, and must be added before heads are to fill the network.
    """
    network, wanted = found.network, found.network.wanted
    entries = []
    for place, reading in enumerate(network.readings):
        channel = found.channels.get(place)
        taped_m = (tapes_m or {}).get(frozenset((reading.line.at, reading.line.to)))
        entries.append(_tape(reading, taped_m) if channel is None else _sight(reading, channel))
    return NetworkFile.model_validate(
        {
            "about": about,
            "stations": [_station(station) for station in network.stations],
            "observations": entries,
            "centre_line": wanted.centre_line,
            "reference_axle": wanted.reference_axle,
            "drive_axles": wanted.drive_axles,
            "steer_axles": wanted.steer_axles,
            "blocked": sorted(tuple(sorted(pair)) for pair in network.blocked),
        }
    )


def _station(station: Station) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "id": station.id,
        "x_m": round(station.x_m, 6),
        "y_m": round(station.y_m, 6),
        "z_m": round(station.z_m, 6),
    }
    if station.side is not None:
        entry |= {
            "axle": station.axle,
            "side": station.side.value,
            "zero_sigma_deg": round(station.zero_sigma_rad / DEG, 9),
            "seat_sigma_m": station.seat_sigma_m,
        }
    return entry


def _sight(reading: Reading, channel: str) -> dict[str, Any]:
    return {
        "type": "direction",
        "at": reading.line.at,
        "to": reading.line.to,
        "channel": channel,
        "sigma_deg": round(reading.sigma / DEG, 9),
        "at_port_m": reading.line.at_port_m,
        "to_port_m": reading.line.to_port_m,
    }


def _tape(reading: Reading, taped_m: float | None) -> dict[str, Any]:
    line = reading.line
    entry = {"type": "distance", "at": line.at, "to": line.to, "sigma_m": reading.sigma}
    return entry if taped_m is None else entry | {"distance_m": taped_m}
