"""What a network is made of: stations, readings between them, and what to compute from it."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from ingest.core.frames import Side

Port = tuple[float, float]
"""Where a sightline starts or ends: forward and outward of the hub, m."""


@dataclass(frozen=True, slots=True)
class Station:
    """A wheel, which has a heading, or a pin (kingpin, hub pin, target), which has none.

    ``x_m``, ``y_m`` are approximate, and exact where ``fixed``; ``z_m`` counts in distances.
    ``zero_sigma_rad`` is the standard uncertainty of the zero of the wheel's head: common to
    all directions that one mounting of it reads. ``seat_sigma_m`` is that of how far out the head
    sits: a shift outward of all its ports alike. A wheel of no ``axle`` is one as it stood before
    it was moved: it ties others, and nothing is told of it.
    """

    id: str
    x_m: float
    y_m: float
    z_m: float = 0.0
    axle: int | None = None
    side: Side | None = None
    fixed: bool = False
    zero_sigma_rad: float = 0.0
    seat_sigma_m: float = 0.0

    @property
    def is_wheel(self) -> bool:
        """Whether it has a heading."""
        return self.side is not None


class Kind(StrEnum):
    """What a reading tells."""

    DIRECTION = "direction"
    ANGLE = "angle"
    AZIMUTH = "azimuth"
    DISTANCE = "distance"


@dataclass(frozen=True, slots=True)
class Line:
    """A sightline or a stretched tape, from hub to hub, or from port to port."""

    at: str
    to: str
    at_port_m: Port = (0.0, 0.0)
    to_port_m: Port = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading. ``value`` and ``sigma`` are rad, for a distance m.

    A direction is counted from the wheel's heading (at a pin: from the zero of whatever stands
    there), an angle from the line ``back``, an azimuth from X; all counter-clockwise from above.
    ``value`` is None where nothing was read yet (a design). ``setup`` names the state of the
    mountings that it was read in; ``used`` is False for a reading that is only kept.
    """

    kind: Kind
    line: Line
    sigma: float
    value: float | None = None
    back: Line | None = None
    setup: str = ""
    used: bool = True

    @property
    def is_angular(self) -> bool:
        """Whether it is told in rad."""
        return self.kind is not Kind.DISTANCE

    def lines(self) -> tuple[Line, ...]:
        """Return the line, or the two lines of an angle."""
        return (self.line,) if self.back is None else (self.line, self.back)

    def named(self) -> str:
        """Return it in words."""
        line = self.line
        if self.back is not None:
            return f"{self.kind} at {line.at} from {self.back.to} to {line.to}"
        return f"{self.kind} {line.at} to {line.to}"


@dataclass(frozen=True, slots=True)
class Setup:
    """A state of the mountings, and the wheels whose heads stayed from the one before."""

    id: str
    stayed: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which lines and axles of the vehicle the results refer to; None and () for the usual.

    ``centre_line``: two of axle numbers and ids of pins.
    """

    centre_line: tuple[int | str, int | str] | None = None
    reference_axle: int | None = None
    drive_axles: tuple[int, ...] = ()
    steer_axles: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Network:
    """Stations and readings, ids unique and known, in the order of their file."""

    stations: tuple[Station, ...]
    readings: tuple[Reading, ...]
    wanted: Wanted = field(default_factory=Wanted)
    setups: tuple[Setup, ...] = ()
    blocked: frozenset[frozenset[str]] = frozenset()
    """Pairs of stations that cannot see each other."""

    checks: tuple[Reading, ...] = ()
    """Distances that were kept out, to prove the result with."""

    def station(self, station_id: str) -> Station:
        """Return one station. Raises ``KeyError``."""
        for station in self.stations:
            if station.id == station_id:
                return station
        raise KeyError(station_id)

    def wheels(self) -> Iterator[Station]:
        """Yield the stations with a heading."""
        return (station for station in self.stations if station.is_wheel)

    def axles(self) -> tuple[int, ...]:
        """Return the numbers of the axles that have a wheel here, in order."""
        return tuple(sorted({s.axle for s in self.wheels() if s.axle is not None}))

    def wheel(self, axle: int, side: Side) -> Station | None:
        """Return the wheel of an axle on one side, None where there is none."""
        found = (s for s in self.wheels() if s.axle == axle and s.side is side)
        return next(found, None)

    def ahead_m(self, axle: int) -> float:
        """Return how far forward an axle stands, by the positions given."""
        places = [station.x_m for station in self.wheels() if station.axle == axle]
        return sum(places) / len(places)

    def mounting(self, station_id: str, setup: str) -> str:
        """Return the set-up in which the head that stands here in ``setup`` was mounted."""
        mounted = setup
        names = [each.id for each in self.setups]
        if setup not in names:
            return setup
        for each in reversed(self.setups[: names.index(setup) + 1]):
            mounted = each.id
            if station_id not in each.stayed:
                break
        return mounted

    def states(self) -> tuple[str, ...]:
        """Return the names of the set-ups; of a file that names none the one that there is."""
        return tuple(each.id for each in self.setups) or ("",)

    def heads(self, setup: str) -> frozenset[str]:
        """Return where heads are mounted in a set-up: what its sightlines need, and what stayed."""
        ends = {
            end
            for reading in self.readings
            if reading.is_angular and reading.setup == setup
            for line in reading.lines()
            for end in (line.at, line.to)
        }
        names = [each.id for each in self.setups]
        if setup in names:
            place = names.index(setup)
            # Whose head stayed from the set-up before had it there, too.
            ends |= set().union(*(each.stayed for each in self.setups[place : place + 2]))
        return frozenset(ends)

    def allows(self, reading: Reading) -> bool:
        """Return whether the heads that a reading needs are mounted in its set-up; a tape's none.

        A pin is sighted without a head.
        """
        ends = {end for line in reading.lines() for end in (line.at, line.to)}
        needed = {end for end in ends if self.station(end).is_wheel}
        return not reading.is_angular or needed <= self.heads(reading.setup)

    def sees(self, one: str, other: str) -> bool:
        """Return whether a sightline between two stations can exist."""
        return frozenset((one, other)) not in self.blocked
