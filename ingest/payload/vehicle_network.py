"""The network file of a vehicle: what a unit's network is before any head has read."""

from collections.abc import Mapping
from typing import Any

from ingest.core.units import DEG
from ingest.geometry.network.stations import Reading, Station
from ingest.job.vehicle.network import UnitNetwork
from ingest.payload.network_file import NetworkFile

TapesM = Mapping[frozenset[str], float]
"""What was taped, m, by the two stations."""


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
