"""Wheels as they stood before they were moved: what was read at them ties the others still.

An axle that is turned at, steered or jacked leaves where it stood, and what was read at it tells no
more of it. But that two other axles were both read against it still tells how these stand to each
other. So where it stood becomes a station of its own, which belongs to no axle any more; nothing is
told of it, and heads may come and go about it as they do about any wheel that stands.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from calibration.measured import Measured
from ingest.geometry.network.stations import Network, Reading, Station
from ingest.service.bayhead import Wheel
from ingest.service.networkrow import Row, Stand

SHIFTED_M = 0.01
"""How far a hub is from where it was while it was taped, a standard uncertainty (ours to choose):
an axle that is brought square by half a degree moves its hubs by 8 mm."""

PinTapes = Mapping[tuple[int, Stand], Measured]
"""Tapes to pins that were taken before a hub was shifted: by place, and the stand of the hub."""


def with_former(
    network: Network, rows: Sequence[Row], tapes: Mapping[int, Measured], pins: PinTapes
) -> tuple[Network, dict[int, Measured]]:
    """Return a network with all former stands, and what was read at them by its places in that.

    ``rows`` are those that tie (``Rows.former``), ``tapes`` those that hold, by place. The readings
    of rows come first behind the network's own, in their order.
    """
    stands = list(dict.fromkeys(s for row in rows for s in row.stands if s.former))
    if not stands:
        return network, {}
    stations = tuple(replace(_station(network, s), id=_name(network, s), axle=None) for s in stands)
    found = [(_read(network, row), row.measured) for row in rows]
    found += list(_taped(network, rows, tapes))
    for (place, stand), measured in pins.items():
        if stand in stands:
            found.append((_renamed(network, network.readings[place], (stand,)), measured))
    first = len(network.readings)
    whole = replace(
        network,
        stations=network.stations + stations,
        readings=network.readings + tuple(reading for reading, _ in found),
    )
    return whole, {first + at: measured for at, (_, measured) in enumerate(found)}


def _taped(
    network: Network, rows: Iterable[Row], tapes: Mapping[int, Measured]
) -> Iterator[tuple[Reading, Measured]]:
    """Yield the tapes again between stands that a sightline joined."""
    pairs = dict.fromkeys(frozenset(row.stands) for row in rows)
    former = {stand for pair in pairs for stand in pair if stand.former}
    for left in former:
        right = next((s for s in former if left.is_beside(s)), None)
        if right is not None:
            pairs[frozenset((left, right))] = None
    by_ends = {
        frozenset((r.line.at, r.line.to)): (r, tapes[place])
        for place, r in enumerate(network.readings)
        if place in tapes
    }
    for pair in pairs:
        known = by_ends.get(frozenset(_station(network, stand).id for stand in pair))
        if known is not None:
            reading = _renamed(network, known[0], tuple(pair))
            off = Measured.of(0.0, SHIFTED_M, source=f"{reading.named()}: the hub before")
            yield reading, known[1] + off


def _read(network: Network, row: Row) -> Reading:
    return _renamed(network, row.reading, row.stands)


def _renamed(network: Network, reading: Reading, stands: Iterable[Stand]) -> Reading:
    """Return a reading whose ends are stands, former or not."""
    names = {_station(network, stand).id: _name(network, stand) for stand in stands}
    line = reading.line
    at, to = (names.get(end, end) for end in (line.at, line.to))
    return replace(reading, line=replace(line, at=at, to=to))


def _station(network: Network, stand: Stand) -> Station:
    return station_of(network, stand.wheel)


def station_of(network: Network, wheel: Wheel) -> Station:
    """Return the station of a wheel."""
    found = network.wheel(wheel.axle, wheel.side)
    assert found is not None
    return found


def _name(network: Network, stand: Stand) -> str:
    station = _station(network, stand).id
    return f"{station} before move {stand.number + 1}" if stand.former else station
