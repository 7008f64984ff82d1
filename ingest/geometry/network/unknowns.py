"""The unknowns of a network, and their places in one vector.

For n stations: x and y of each (m), then a heading for each (rad), then the turns: at a wheel the
zero of each mounting of its head, at a pin the orientation of each mounting there (rad). Every
station has all three places, so that places are plain sums; those that are known are not free.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.network.stations import Kind, Network, Station

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Turn:
    """The zero, or the orientation, of one mounting. ``sigma_rad`` is None for a free one."""

    station: str
    setup: str
    sigma_rad: float | None

    def named(self) -> str:
        """Return whose zero it is; equal for equal mountings, whatever the network."""
        return f"zero of the head at {self.station}" + (f", {self.setup}" if self.setup else "")


@dataclass(frozen=True, slots=True)
class Unknowns:
    """Places of the unknowns of a network with n stations and t turns; their number is 3n + t.

    ``free`` (3n + t,) are those to be found; ``size`` (3n + t,) is a natural size of a change of
    each: the extent of the network for a coordinate, one radian for an angle.
    """

    place: dict[str, int]
    turns: tuple[Turn, ...]
    turn_place: dict[tuple[str, str], int]
    free: NDArray[np.bool_]
    size: F64
    turns_along: F64
    """By how much headings and turns (n + t,) change as the whole network is turned by one rad."""

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
    turns = _turns(network)
    n = len(place)
    free = np.ones(3 * n + len(turns), dtype=np.bool_)
    xy = np.array([(s.x_m, s.y_m) for s in network.stations])
    for i, station in enumerate(network.stations):
        free[2 * i : 2 * i + 2] = not station.fixed
        free[2 * n + i] = station.is_wheel
    size = np.ones(len(free))
    size[: 2 * n] = max(float(np.ptp(xy, axis=0).max()), 1e-3)
    turn_place = {(turn.station, turn.setup): 3 * n + i for i, turn in enumerate(turns)}
    along = [float(station.is_wheel) for station in network.stations]
    along += [float(turn.sigma_rad is None) for turn in turns]
    return Unknowns(place, turns, turn_place, free, size, np.array(along))


def start_of(network: Network, unknowns: Unknowns) -> F64:
    """Return the approximate values, headings along X, shape (3n + t,)."""
    state = np.zeros(len(unknowns.free))
    state[unknowns.coordinates] = [c for s in network.stations for c in (s.x_m, s.y_m)]
    return state


def turn_of(network: Network, station: Station, setup: str) -> Turn | None:
    """Return the turn that a direction is counted from, None for a head with an exact zero."""
    mounted = network.mounting(station.id, setup)
    if not station.is_wheel:
        return Turn(station.id, mounted, None)
    if station.zero_sigma_rad == 0.0:
        return None
    return Turn(station.id, mounted, station.zero_sigma_rad)


def _turns(network: Network) -> tuple[Turn, ...]:
    """Return the turns that any reading needs, and any that could be added, each once."""
    stations = {station.id: station for station in network.stations}
    needed = [
        (stations[reading.line.at], reading.setup)
        for reading in network.readings
        if reading.kind is Kind.DIRECTION
    ]
    last = network.setups[-1].id if network.setups else ""
    needed += [(station, last) for station in network.wheels()]
    found = (turn_of(network, station, setup) for station, setup in needed)
    return tuple(dict.fromkeys(turn for turn in found if turn is not None))
