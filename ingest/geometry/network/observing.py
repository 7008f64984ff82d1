"""What the readings of a network should say, given the unknowns, and how that changes with them.

A port lies at hub + R(heading) (forward, side * (outward + seat)). With e the vector of a line in
plan, its bearing is atan2(e_y, e_x), and a tape measures sqrt(|e|^2 + dz^2). A direction is bearing
- heading + zero of the head, an angle the difference of two bearings: plane geometry, and exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.geometry.network.stations import Kind, Network, Reading, Station
from ingest.geometry.network.unknowns import F64, I64, Unknowns, seat_of, zero_of

PLUS, MINUS = 1.0, -1.0


@dataclass(frozen=True, slots=True)
class Lines:
    """The l lines behind the readings, in arrays: ``row`` (l,) is the reading that each is for.

    ``at``, ``to`` (l,) are numbers of stations; ports (l, 2) are forward and LEFT of the hub;
    ``sign`` (l,) is -1 for the line that an angle is counted from; ``rise_m`` (l,) is of ``to``
    over ``at``. ``seated`` (s, 4) are the ends whose ports sit uncertainly: the line, 0 for its
    start or 1 for its end, the place of the seat, and the side.
    """

    row: I64
    at: I64
    to: I64
    at_port_m: F64
    to_port_m: F64
    sign: F64
    rise_m: F64
    seated: I64


@dataclass(frozen=True, slots=True)
class Observing:
    """The m readings of a network as a function of its unknowns."""

    unknowns: Unknowns
    lines: Lines
    is_distance: np.ndarray
    headed: I64
    """Rows (k, 2) of directions: the reading, and the place of the heading."""
    turned: I64
    """Rows (k, 3) of directions: the reading, the place of its zero, and its sign."""

    def predict(self, state: F64) -> tuple[F64, F64]:
        """Return what is read, rad or m, shape (m,), and its Jacobian, shape (m, 3n + t)."""
        lines, n = self.lines, self.unknowns.count
        xy = state[: 2 * n].reshape(n, 2)
        heading = state[2 * n : 3 * n]
        at_port_m, to_port_m = self._seated(state)
        here = _turned(at_port_m, heading[lines.at])
        there = _turned(to_port_m, heading[lines.to])
        e = xy[lines.to] + there - xy[lines.at] - here
        flat2 = np.einsum("ij,ij->i", e, e)
        long = self.is_distance[lines.row]
        length = np.sqrt(flat2 + lines.rise_m**2)
        told = np.where(long, length, np.arctan2(e[:, 1], e[:, 0])) * lines.sign
        slope = np.where(long[:, None], e / length[:, None], _left(e) / flat2[:, None])
        slope *= lines.sign[:, None]
        values = np.zeros(len(self.is_distance))
        np.add.at(values, lines.row, told)
        jacobian = np.zeros((len(values), len(state)))
        self._scatter(jacobian, slope, here, there)
        self._scatter_seats(jacobian, slope, heading)
        row, place, sign = self.turned.T
        values[self.headed[:, 0]] -= state[self.headed[:, 1]]
        values[row] += sign * state[place]
        return values, jacobian

    def _seated(self, state: F64) -> tuple[F64, F64]:
        """Return the ports where the heads sit, forward and left, shape (l, 2) each."""
        ports = np.stack((self.lines.at_port_m, self.lines.to_port_m))
        line, end, place, side = self.lines.seated.T
        ports[end, line, 1] += side * state[place]
        return ports[0], ports[1]

    def _scatter_seats(self, jacobian: F64, slope: F64, heading: F64) -> None:
        line, end, place, side = self.lines.seated.T
        turned = heading[np.where(end == 0, self.lines.at[line], self.lines.to[line])]
        leftward = np.column_stack((-np.sin(turned), np.cos(turned)))
        along = np.einsum("ij,ij->i", slope[line], leftward) * side * np.where(end == 0, -1.0, 1.0)
        np.add.at(jacobian, (self.lines.row[line], place), along)

    def _scatter(self, jacobian: F64, slope: F64, here: F64, there: F64) -> None:
        lines, n = self.lines, self.unknowns.count
        turn_here = -np.einsum("ij,ij->i", slope, _left(here))
        turn_there = np.einsum("ij,ij->i", slope, _left(there))
        at, to = lines.at, lines.to
        columns = (2 * at, 2 * at + 1, 2 * to, 2 * to + 1, 2 * n + at, 2 * n + to)
        entries = (-slope[:, 0], -slope[:, 1], slope[:, 0], slope[:, 1], turn_here, turn_there)
        rows = np.tile(lines.row, len(columns))
        np.add.at(jacobian, (rows, np.concatenate(columns)), np.concatenate(entries))
        jacobian[self.headed[:, 0], self.headed[:, 1]] -= 1.0
        jacobian[self.turned[:, 0], self.turned[:, 1]] += self.turned[:, 2]


def observing(network: Network, unknowns: Unknowns, readings: Sequence[Reading]) -> Observing:
    """Return the function behind ``readings``, whose stations are those of ``network``."""
    stations = {station.id: station for station in network.stations}
    headed, turned = [], []
    for row, reading in enumerate(readings):
        if reading.kind is not Kind.DIRECTION:
            continue
        station = stations[reading.line.at]
        zero = zero_of(network, station, reading.setup)
        if station.is_wheel:
            headed.append((row, unknowns.heading(station.id)))
        if zero is not None:
            place = unknowns.mounted_place[zero]
            turned.append((row, place, 1 if station.is_wheel else -1))
    return Observing(
        unknowns,
        _lines(network, stations, unknowns, readings),
        np.array([reading.kind is Kind.DISTANCE for reading in readings], dtype=np.bool_),
        np.array(headed, dtype=np.int64).reshape(-1, 2),
        np.array(turned, dtype=np.int64).reshape(-1, 3),
    )


def _lines(
    network: Network,
    stations: dict[str, Station],
    unknowns: Unknowns,
    readings: Sequence[Reading],
) -> Lines:
    drawn = [
        (row, line, sign)
        for row, reading in enumerate(readings)
        for line, sign in zip(reading.lines(), (PLUS, MINUS), strict=False)
    ]
    each = [line for _, line, _ in drawn]
    seated = []
    for i, (row, line, _) in enumerate(drawn):
        for end, name in enumerate((line.at, line.to)):
            seat = seat_of(network, stations[name], readings[row].setup)
            if seat is not None and readings[row].is_angular:
                side = stations[name].side
                seated.append((i, end, unknowns.mounted_place[seat], side.sign if side else 1))
    return Lines(
        row=np.array([row for row, _, _ in drawn], dtype=np.int64),
        at=np.array([unknowns.place[line.at] for line in each], dtype=np.int64),
        to=np.array([unknowns.place[line.to] for line in each], dtype=np.int64),
        at_port_m=_ports([(stations[line.at], line.at_port_m) for line in each]),
        to_port_m=_ports([(stations[line.to], line.to_port_m) for line in each]),
        sign=np.array([sign for _, _, sign in drawn]),
        rise_m=np.array([stations[line.to].z_m - stations[line.at].z_m for line in each]),
        seated=np.array(seated, dtype=np.int64).reshape(-1, 4),
    )


def _ports(ports: Sequence[tuple[Station, tuple[float, float]]]) -> F64:
    """Return ports forward and left of the hub, shape (l, 2)."""
    sides = [(p[0], p[1] * (s.side.sign if s.side else 1)) for s, p in ports]
    return np.array(sides).reshape(-1, 2)


def _turned(vectors: F64, angle_rad: F64) -> F64:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.column_stack(
        (c * vectors[:, 0] - s * vectors[:, 1], s * vectors[:, 0] + c * vectors[:, 1])
    )


def _left(vectors: F64) -> F64:
    """Return each vector turned by a quarter to the left: its change as it turns."""
    return np.column_stack((-vectors[:, 1], vectors[:, 0]))
