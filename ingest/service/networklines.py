"""What a network's lines are to heads on wheels: who may read which, which tape ties which hub."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

from calibration.measured import Measured
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.geometry.network.pieces import pieces
from ingest.geometry.network.stations import Kind, Network, Reading
from ingest.payload.network_live import LiveNetwork
from ingest.service.bayhead import Wheel


@dataclass(frozen=True, slots=True)
class Wanted:
    """A sightline that a head on some wheel may read."""

    place: int
    channel: Channel
    to: Wheel
    away_m: float


def wanted_of(live: LiveNetwork) -> Mapping[Wheel, Sequence[Wanted]]:
    """Return, for each wheel, what a head on it may read, the nearest partner first."""
    network, found = live.network, {}
    for station in network.wheels():
        wanted = []
        for place, channel in live.channels.items():
            line = network.readings[place].line
            if line.at == station.id:
                to = network.station(line.to)
                away_m = abs(to.x_m - station.x_m) + abs(to.y_m - station.y_m)
                wanted.append(Wanted(place, channel, _wheel(to.axle, to.side), away_m))
        found[_wheel(station.axle, station.side)] = sorted(wanted, key=lambda each: each.away_m)
    return found


def tapes_of(readings: Sequence[Reading]) -> dict[int, Measured]:
    """Return what does not come from heads, by its place."""
    return {
        i: Measured.of(r.value, r.sigma, source=f"{r.named()} [{i}]", shared=True)
        for i, r in enumerate(readings)
        if r.used and r.value is not None
    }


def tapes_to_pins(network: Network, wheel: Wheel) -> set[int]:
    """Return the places of all tapes, taken or not, between a wheel and a pin."""
    hub = next(s.id for s in network.wheels() if _wheel(s.axle, s.side) == wheel)
    pins = {station.id for station in network.stations if station.side is None}
    ends = ({r.line.at, r.line.to} for r in network.readings)
    return {place for place, at in enumerate(ends) if hub in at and at & pins}


def tapes_that_hold(
    tapes: Mapping[int, Measured], network: Network, read: Set[int]
) -> dict[int, Measured]:
    """Return the tapes to pins, and of the others those between hubs that sightlines join.

    Tapes alone hold no axle against shifting sideways: the hubs of a side lie on one line, and
    where a tape is longer than they are apart, the hub would give way as a strut does.
    """
    lines = tuple(
        replace(reading, used=place in read and reading.kind is Kind.DIRECTION)
        for place, reading in enumerate(network.readings)
    )
    joined = pieces(replace(network, readings=lines))
    piece = {station: number for number, ids in enumerate(joined) for station in ids}
    pins = {station.id for station in network.stations if station.side is None}
    kept = {}
    for place, tape in tapes.items():
        ends = network.readings[place].line.at, network.readings[place].line.to
        if pins.intersection(ends) or len({piece[end] for end in ends}) == 1:
            kept[place] = tape
    return kept


def _wheel(axle: int | None, side: Side | None) -> Wheel:
    assert axle is not None
    assert side is not None
    return Wheel(axle, side)
