"""The sightline networks of a vehicle: one for each unit, as it stands before anything is read.

Approximate places, the lines that no part of the vehicle blocks, and the tapes that are to be
read. A tractor and its trailer bend at the pin, so each unit has a network of its own.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise

from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.network.stations import Kind, Line, Network, Port, Reading, Station, Wanted
from ingest.job.vehicle.axles import Axle, Role, Wheel
from ingest.job.vehicle.reference import PIN, line_of, reference_axle
from ingest.job.vehicle.vehicle import Unit, Vehicle

HUB: Port = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Sighting:
    """What heads and tapes are taken to be, where no record says it. Standard uncertainties.

    ``cross_port_m`` and ``track_port_m``: where the sightlines of a head start, forward and
    outward of the hub.
    """

    cross_port_m: Port = HUB
    track_port_m: Port = HUB
    sight_sigma_rad: float = 0.003 * DEG
    zero_sigma_rad: float = 0.02 * DEG
    seat_sigma_m: float = 0.001
    tape_sigma_m: float = 0.005
    pin_sigma_m: float = 0.001
    """Of a tape at a pin, which carries a direction on a short base."""


@dataclass(frozen=True, slots=True)
class UnitNetwork:
    """The network of one unit. Nothing in it has a value yet.

    ``channels``: by its place among the readings, the channel that reads a direction. All other
    readings are tapes.
    """

    unit: str
    network: Network
    channels: Mapping[int, Channel] = field(default_factory=dict)


def unit_network(
    vehicle: Vehicle,
    unit: Unit,
    sighting: Sighting | None = None,
    set_ups: Sequence[Sequence[int]] | None = None,
) -> UnitNetwork:
    """Return the network of a unit.

    Args:
        vehicle: the vehicle.
        unit: one of its units.
        sighting: heads and tapes.
        set_ups: axles that have heads on at the same time, set-up by set-up; each head then sees
            its next neighbours along the vehicle. None for every line that is not blocked.
    """
    sighting = sighting or Sighting()
    axles = vehicle.axles_of(unit)
    stations = [_station(vehicle, axle, wheel, sighting) for axle in axles for wheel in axle.wheels]
    if unit.coupling is not None:
        stations.append(_pin(vehicle, unit))
    sights = list(_sights(vehicle, axles, sighting, set_ups))
    tapes = list(_tapes(unit, axles, sighting))
    wanted = Wanted(
        line_of(vehicle, unit),
        reference_axle(vehicle, unit),
        tuple(axle.number for axle in axles if axle.role is Role.DRIVE),
        tuple(axle.number for axle in axles if axle.role.is_steered),
    )
    blocked = frozenset(frozenset(w.id for w in each.wheels) for each in vehicle.blocked)
    ids = {station.id for station in stations}
    network = Network(
        tuple(stations),
        (*(reading for _, reading in sights), *tapes),
        wanted,
        blocked=frozenset(pair for pair in blocked if pair <= ids),
    )
    return UnitNetwork(unit.id, network, {i: channel for i, (channel, _) in enumerate(sights)})


def _zero_m(vehicle: Vehicle) -> float:
    """Return how far behind axle 1 the zero of x lies: at the last axle, as x grows forward."""
    return vehicle.axles[-1].behind_m


def _station(vehicle: Vehicle, axle: Axle, wheel: Wheel, sighting: Sighting) -> Station:
    return Station(
        wheel.id,
        _zero_m(vehicle) - axle.behind_m,
        wheel.side.sign * axle.track_m / 2.0,
        axle.tyre.diameter_m / 2.0,
        axle.number,
        wheel.side,
        zero_sigma_rad=sighting.zero_sigma_rad,
        seat_sigma_m=sighting.seat_sigma_m,
    )


def _pin(vehicle: Vehicle, unit: Unit) -> Station:
    assert unit.coupling is not None
    height_m = unit.coupling.height_m
    if height_m is None:
        height_m = vehicle.axles_of(unit)[0].tyre.diameter_m / 2.0
    return Station(PIN, _zero_m(vehicle) - unit.coupling.behind_m, 0.0, height_m)


def _sights(
    vehicle: Vehicle,
    axles: Sequence[Axle],
    sighting: Sighting,
    set_ups: Sequence[Sequence[int]] | None,
) -> Iterator[tuple[Channel, Reading]]:
    for axle in axles:
        left, right = axle.wheels
        if vehicle.sees(left, right):
            port = sighting.cross_port_m
            yield Channel.AZIMUTH_CROSS, _direction(left, right, port, sighting)
            yield Channel.AZIMUTH_CROSS, _direction(right, left, port, sighting)
    for front, rear in _along([axle.number for axle in axles], set_ups):
        for side in Side:
            ends = Wheel(front, side), Wheel(rear, side)
            if vehicle.sees(*ends):
                port = sighting.track_port_m
                yield Channel.AZIMUTH_TRACK, _direction(*ends, port, sighting)
                yield Channel.AZIMUTH_TRACK, _direction(*ends[::-1], port, sighting)


def _along(
    numbers: Sequence[int], set_ups: Sequence[Sequence[int]] | None
) -> tuple[tuple[int, int], ...]:
    """Return the pairs of axles between which heads look along the vehicle."""
    if set_ups is None:
        return tuple(combinations(numbers, 2))
    here = [sorted(set(set_up) & set(numbers)) for set_up in set_ups]
    return tuple(sorted({pair for mounted in here for pair in pairwise(mounted)}))


def _direction(at: Wheel, to: Wheel, port: Port, sighting: Sighting) -> Reading:
    line = Line(at.id, to.id, port, port)
    return Reading(Kind.DIRECTION, line, sighting.sight_sigma_rad)


def _tapes(unit: Unit, axles: Sequence[Axle], sighting: Sighting) -> Iterator[Reading]:
    """Yield the tapes that a person can stretch: across axles, to the next axle, to the pin."""
    pairs = [(*_ids(axle), sighting.tape_sigma_m) for axle in axles]
    for front, rear in pairwise(axles):
        pairs += [
            (one.id, other.id, sighting.tape_sigma_m)
            for one, other in zip(front.wheels, rear.wheels, strict=True)
        ]
    if unit.coupling is not None:
        pairs += [(PIN, wheel.id, sighting.pin_sigma_m) for wheel in axles[0].wheels]
    for at, to, sigma_m in pairs:
        yield Reading(Kind.DISTANCE, Line(at, to), sigma_m)


def _ids(axle: Axle) -> tuple[str, str]:
    left, right = axle.wheels
    return left.id, right.id
