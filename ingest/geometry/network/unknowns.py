"""The unknowns of a network, and their places in one vector.

For n stations: x and y of each (m), then a heading for each (rad), then t of mountings: at a wheel
the zero of each mounting of its head (rad) and how far out it sits (m), at a pin the orientation of
each mounting there (rad). Every station has its three places, so that places are plain sums; those
that are known are not free.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.network.stations import Kind, Network, Station

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


class What(StrEnum):
    """What of a mounting is unknown."""

    ZERO = "zero"
    SEAT = "seat"


@dataclass(frozen=True, slots=True)
class Mounted:
    """The zero (rad), or seat (m), of one mounting. ``sigma`` is None for a free orientation."""

    what: What
    station: str
    setup: str
    sigma: float | None

    def named(self) -> str:
        """Return whose it is; equal for equal mountings, whatever the network."""
        setup = f", {self.setup}" if self.setup else ""
        return f"{self.what} of the head at {self.station}{setup}"


@dataclass(frozen=True, slots=True)
class Unknowns:
    """Places of the 3n + t unknowns of a network with n stations, t of them of mountings.

    ``free`` (3n + t,) are those to be found; ``size`` (3n + t,) is a natural size of a change of
    each: the extent of the network for a coordinate, one radian for an angle.
    """

    place: dict[str, int]
    mounted: tuple[Mounted, ...]
    mounted_place: dict[Mounted, int]
    free: NDArray[np.bool_]
    size: F64
    turned_along: F64
    """By how much headings and mountings (n + t,) change as all is turned together by one rad."""

    @property
    def count(self) -> int:
        """Number of stations n."""
        return len(self.place)

    @property
    def coordinates(self) -> slice:
        """Places of all coordinates, x before y of each station."""
        return slice(0, 2 * self.count)

    def x(self, station: str) -> int:
        """Place of a station's x; that of y is the next."""
        return 2 * self.place[station]

    def heading(self, station: str) -> int:
        """Place of a station's heading."""
        return 2 * self.count + self.place[station]


def unknowns_of(network: Network) -> Unknowns:
    """Return the unknowns that a network has."""
    place = {station.id: i for i, station in enumerate(network.stations)}
    mounted = _mounted(network)
    n = len(place)
    free = np.ones(3 * n + len(mounted), dtype=np.bool_)
    xy = np.array([(s.x_m, s.y_m) for s in network.stations])
    for i, station in enumerate(network.stations):
        free[2 * i : 2 * i + 2] = not station.fixed
        free[2 * n + i] = station.is_wheel
    size = np.ones(len(free))
    size[: 2 * n] = max(float(np.ptp(xy, axis=0).max()), 1e-3)
    mounted_place = {each: 3 * n + i for i, each in enumerate(mounted)}
    along = [float(station.is_wheel) for station in network.stations]
    along += [float(each.sigma is None) for each in mounted]
    return Unknowns(place, mounted, mounted_place, free, size, np.array(along))


def start_of(network: Network, unknowns: Unknowns) -> F64:
    """Return the approximate values, headings along X, shape (3n + t,)."""
    state = np.zeros(len(unknowns.free))
    state[unknowns.coordinates] = [c for s in network.stations for c in (s.x_m, s.y_m)]
    return state


def zero_of(network: Network, station: Station, setup: str) -> Mounted | None:
    """Return what a direction is counted from, None for a head with an exact zero."""
    mounting = network.mounting(station.id, setup)
    if not station.is_wheel:
        return Mounted(What.ZERO, station.id, mounting, None)
    if station.zero_sigma_rad == 0.0:
        return None
    return Mounted(What.ZERO, station.id, mounting, station.zero_sigma_rad)


def seat_of(network: Network, station: Station, setup: str) -> Mounted | None:
    """Return what shifts the ports of a head, None where they are exact."""
    if station.seat_sigma_m == 0.0:
        return None
    mounting = network.mounting(station.id, setup)
    return Mounted(What.SEAT, station.id, mounting, station.seat_sigma_m)


def _mounted(network: Network) -> tuple[Mounted, ...]:
    """Return what any reading needs, and any that could be added, each once."""
    stations = {station.id: station for station in network.stations}
    last = network.setups[-1].id if network.setups else ""
    found: dict[Mounted | None, None] = {}
    for reading in network.readings:
        if reading.kind is Kind.DIRECTION:
            found[zero_of(network, stations[reading.line.at], reading.setup)] = None
        for line in reading.lines() if reading.is_angular else ():
            for end in (line.at, line.to):
                found[seat_of(network, stations[end], reading.setup)] = None
    for setup in network.states():
        heads = network.heads(setup)
        for station in network.wheels():
            if setup == last or station.id in heads:
                found[zero_of(network, station, setup)] = None
                found[seat_of(network, station, setup)] = None
    return tuple(each for each in found if each is not None)
