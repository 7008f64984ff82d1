"""The results of a vehicle from its adjusted network: toe, headings, scrub, setback, offset.

Signs are those of ``ingest/core/frames.py``. Everything is told against the geometric centre line,
through the mid-points of two axles or a pin and the mid-point of an axle: no rail, tyre or axle
is taken to be straight, true or square.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from ingest.core.frames import Side
from ingest.geometry.network.forms import Form, Spot, Unknown
from ingest.geometry.network.stations import Network, Wanted


@dataclass(frozen=True, slots=True)
class Quantity:
    """One result: its name, the wheel or axle that it is of, and where angular (rad, else m)."""

    name: str
    of: str
    form: Form | None
    """None where the network lacks a station for it."""

    angular: bool = True

    @property
    def label(self) -> str:
        """Name it for a person, and in lists."""
        unit = "deg" if self.angular else "mm"
        return f"{self.name}_{unit} {self.of}".strip()


def usual(network: Network) -> Wanted:
    """Return what the results refer to, with the usual choice where the file makes none.

    Usual: a centre line through the foremost and the rearmost axle with both wheels here, and the
    rearmost axle as the reference.
    """
    wanted = network.wanted
    whole = [n for n in network.axles() if all(network.wheel(n, side) for side in Side)]
    ahead = {n: network.ahead_m(n) for n in whole}
    in_order = sorted(whole, key=lambda n: -ahead[n])
    line = wanted.centre_line
    if line is None and len(in_order) > 1 and ahead[in_order[0]] > ahead[in_order[-1]]:
        line = (in_order[0], in_order[-1])
    reference = wanted.reference_axle
    if reference is None and in_order:
        reference = in_order[-1]
    return replace(wanted, centre_line=line, reference_axle=reference)


def quantities(network: Network, unknown: Unknown) -> tuple[Quantity, ...]:
    """Return every result of a vehicle, in the order of its wheels and axles."""
    return tuple(_Vehicle(network, usual(network), unknown).all())


@dataclass(frozen=True, slots=True)
class _Vehicle:
    network: Network
    wanted: Wanted
    unknown: Unknown

    def all(self) -> Iterator[Quantity]:
        line = self.line()
        for wheel in self.network.wheels():
            if wheel.axle is None:
                continue  # of where a wheel stood before nothing is told
            side = wheel.side or Side.LEFT
            toe = None
            if line is not None:
                toe = ((self.unknown.heading(wheel.id) - line) * -side.sign).wrapped()
            yield Quantity("toe", wheel.id, toe)
        for axle in self.network.axles():
            yield from self._axle(axle, line)
        yield from self._whole(line)

    def _axle(self, axle: int, line: Form | None) -> Iterator[Quantity]:
        where = f"axle {axle}"
        heading, reference = (
            self.heading(axle, line),
            self.heading(self.wanted.reference_axle, line),
        )
        yield Quantity("heading", where, heading)
        yield Quantity("scrub", where, _less(heading, reference))
        yield Quantity("total_toe", where, self._total_toe(axle))
        yield Quantity("setback", where, self._setback(axle, line))
        yield Quantity("lateral_offset", where, self._offset(axle, line), angular=False)

    def _whole(self, line: Form | None) -> Iterator[Quantity]:
        if self.network.axles():
            yield Quantity("thrust", "", self.heading(self.wanted.reference_axle, line))
        if self.wanted.drive_axles:
            yield Quantity("drive_heading", "", self._mean(self.wanted.drive_axles, line))
        if len(self.wanted.steer_axles) > 1:
            first, second, *_ = (self.heading(n, line) for n in self.wanted.steer_axles)
            yield Quantity("parallelism", "", _less(second, first))

    def line(self) -> Form | None:
        """Return the bearing of the centre line, forward, None where there is none."""
        ends = self.ends()
        return None if ends is None else ends[1].bearing(ends[0])

    def ends(self) -> tuple[Spot, Spot] | None:
        """Return the points that the centre line runs through, the foremost first."""
        if self.wanted.centre_line is None:
            return None
        one, other = (self._end(end) for end in self.wanted.centre_line)
        if one is None or other is None:
            return None
        named = self.wanted.centre_line
        return (one, other) if self._x(named[0]) >= self._x(named[1]) else (other, one)

    def _end(self, end: int | str) -> Spot | None:
        return self.unknown.spot(end) if isinstance(end, str) else self.middle(end)

    def _x(self, end: int | str) -> float:
        """Return how far forward an end of the line lies, by the positions given."""
        if isinstance(end, str):
            return self.network.station(end).x_m
        return self.network.ahead_m(end)

    def middle(self, axle: int) -> Spot | None:
        """Return the mid-point of an axle."""
        left, right = (self.network.wheel(axle, side) for side in Side)
        if left is None or right is None:
            return None
        return self.unknown.spot(left.id).middle(self.unknown.spot(right.id))

    def heading(self, axle: int | None, line: Form | None) -> Form | None:
        """Return where an axle points: half of its wheels' headings, less the centre line's."""
        wheels = [] if axle is None else [self.network.wheel(axle, side) for side in Side]
        known = [self.unknown.heading(wheel.id) for wheel in wheels if wheel is not None]
        if line is None or len(known) < len(Side):
            return None
        left, right = ((each - line).wrapped() for each in known)
        return (left + right) * 0.5

    def _total_toe(self, axle: int) -> Form | None:
        left, right = (self.network.wheel(axle, side) for side in Side)
        if left is None or right is None:
            return None
        return (self.unknown.heading(right.id) - self.unknown.heading(left.id)).wrapped()

    def _setback(self, axle: int, line: Form | None) -> Form | None:
        left, right = (self.network.wheel(axle, side) for side in Side)
        if left is None or right is None or line is None:
            return None
        across = self.unknown.spot(right.id).bearing(self.unknown.spot(left.id))
        off = line - across
        return replace(off, value=off.value + math.pi / 2.0).wrapped()

    def _offset(self, axle: int, line: Form | None) -> Form | None:
        middle, ends = self.middle(axle), self.ends()
        if middle is None or ends is None or line is None:
            return None
        return middle.left_of(ends[1], line)

    def _mean(self, axles: tuple[int, ...], line: Form | None) -> Form | None:
        total: Form | None = None
        for axle in axles:
            heading = self.heading(axle, line)
            if heading is None:
                return None
            total = heading if total is None else total + heading
        return None if total is None else total * (1.0 / len(axles))


def _less(one: Form | None, other: Form | None) -> Form | None:
    return None if one is None or other is None else one - other
