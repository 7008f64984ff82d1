"""What a network's lines are to heads on wheels: who may read which, which tape ties which hub."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.measured import Measured
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.geometry.network.stations import Network, Reading
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


def _wheel(axle: int | None, side: Side | None) -> Wheel:
    assert axle is not None
    assert side is not None
    return Wheel(axle, side)
