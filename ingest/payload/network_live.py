"""A network file whose sightlines heads read: which observation stands for which channel."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.network.plausible import first_fault
from ingest.geometry.network.stations import Network
from ingest.payload.network_file import (
    DirectionEntry,
    DistanceEntry,
    Entry,
    NetworkFile,
    NetworkFileError,
)
from ingest.payload.network_read import network_of

Place = tuple[int, Side]
"""Axle and side of a wheel."""


@dataclass(frozen=True, slots=True)
class LiveNetwork:
    """A network as it stands before any head has read: what was taped is used, no sightline is.

    ``channels``: by its place in the network, the channel that reads a direction.
    """

    network: Network
    channels: Mapping[int, Channel]


def live_network_of(file: NetworkFile) -> LiveNetwork:
    """Return the network that heads are to fill.

    Raises:
        NetworkFileError: as ``network_of``; or no observation names a channel, one that does is
            not of two wheels, something else has no value, or the file has set-ups of its own.
    """
    if file.setups:
        raise NetworkFileError("setups: heads make their own as they are moved; take them out")
    planned = network_of(file, design=True)
    channels: dict[int, Channel] = {}
    readings = []
    for i, (entry, reading) in enumerate(zip(file.observations, planned.readings, strict=True)):
        if isinstance(entry, DirectionEntry) and entry.channel is not None:
            if not all(planned.station(s).is_wheel for s in (entry.at, entry.to)):
                where = f"observations[{i}]: a head looks from wheel to wheel"
                raise NetworkFileError(f"{where}; {entry.at} or {entry.to} is a pin")
            if reading.used:
                channels[i] = Channel(entry.channel)
            readings.append(replace(reading, used=False))
        else:
            value = _value(entry)
            if value is None and reading.used:
                reason = "no value and no channel; add what was read, or by what it is to be read"
                raise NetworkFileError(f"observations[{i}]: {reason}")
            readings.append(replace(reading, value=value))
    if not channels:
        raise NetworkFileError("observations: none names a channel, so no head would read any")
    network = replace(planned, readings=tuple(readings))
    fault = first_fault(network)
    if fault is not None:
        raise NetworkFileError(f"observations[{fault.index}]: {fault.reason}")
    return LiveNetwork(network, channels)


def refuse_shared_wheels(files: Sequence[NetworkFile]) -> None:
    """Refuse networks that have a wheel in common. Raises ``NetworkFileError``."""
    seen: set[tuple[int, str]] = set()
    for file in files:
        wheels = {(s.axle, s.side) for s in file.stations if s.axle is not None and s.side}
        if both := sorted(wheels & seen):
            axle, side = both[0]
            reason = "each wheel belongs to one network: that of its own rigid frame"
            raise NetworkFileError(f"stations: axle {axle} {side} is in another file too; {reason}")
        seen |= wheels


def _value(entry: Entry) -> float | None:
    if isinstance(entry, DistanceEntry):
        return entry.distance_m
    return None if entry.angle_deg is None else entry.angle_deg * DEG
