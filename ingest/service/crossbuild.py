"""The sightline across a steered axle, as it is built: ports, kingpins and the hubs' distance."""

import math
from dataclasses import dataclass

from calibration.measured import Source
from ingest.geometry.network.sighting import PortSeen
from ingest.geometry.network.stations import Kind, Network, Reading
from ingest.geometry.sweep.crossed import CrossLine
from ingest.geometry.sweep.sighted import Place
from ingest.service.sightlines import Sat
from ingest.service.steersight import U_LENGTH_M

Lines = tuple[tuple[Source, tuple[CrossLine, ...]], ...]
Places = tuple[Place, Place]
"""Forward and left of each port from its hub, m: what its head's tilts raise it by."""


@dataclass(frozen=True, slots=True)
class CrossBuild:
    """All that a line is made of; ``line`` makes it, or one with something else."""

    ports: tuple[PortSeen, PortSeen]
    signs: tuple[int, int]
    away: Place
    inset_m: float
    straight_rad: tuple[float, float]

    def line(
        self,
        end: int = 0,
        *,
        forward: float = 0.0,
        outward: float = 0.0,
        inboard: float = 0.0,
        longer: float = 0.0,
    ) -> CrossLine:
        """Return the line with a port, the hubs' distance or both kingpins off by so much, m."""
        inset_m = self.inset_m + inboard
        places = []
        for i, (port, sign) in enumerate(zip(self.ports, self.signs, strict=True)):
            ahead, out = port.place_m
            here = i == end
            ahead, out = (ahead + forward, out + outward) if here else (ahead, out)
            places.append((ahead, sign * (out + inset_m)))
        stretch = 1.0 + longer / math.hypot(*self.away)
        left = self.away[1] * stretch + (self.signs[0] - self.signs[1]) * inset_m
        return CrossLine((places[0], places[1]), (self.away[0] * stretch, left), self.straight_rad)

    def others(self, ends: tuple[Sat, Sat], u_kingpin_m: float, length: tuple[str, float]) -> Lines:
        """Return the lines as they would be with each source off by its standard uncertainty, m.

        ``length``: what its source is called, and its uncertainty.
        """
        found: list[tuple[Source, tuple[CrossLine, ...]]] = []
        for i in range(2):
            found += [
                (s.source, (self.line(i, forward=s.forward_m), self.line(i, outward=s.outward_m)))
                for s in self.ports[i].sources
            ]
        # One figure serves both kingpins of an axle, and is off for both alike.
        axle = Source(f"places of the kingpins, {' and '.join(sorted(sat.wheel for sat in ends))}")
        found.append((axle, (self.line(inboard=u_kingpin_m),)))
        found.append((Source(length[0]), (self.line(longer=length[1]),)))
        return tuple(found)


def away_of(network: Network, reading: Reading) -> tuple[Place, float]:
    """Return the one hub from the other, by a tape between them where there is one, and its u."""
    at, to = network.station(reading.line.at), network.station(reading.line.to)
    away, between = (to.x_m - at.x_m, to.y_m - at.y_m), {reading.line.at, reading.line.to}
    for each in network.readings:
        tape = each.kind is Kind.DISTANCE and {each.line.at, each.line.to} == between
        if tape and each.used and each.value is not None:
            stretch = each.value / math.hypot(*away)
            return (away[0] * stretch, away[1] * stretch), each.sigma
    return away, U_LENGTH_M


def places_of(ports: tuple[PortSeen, PortSeen], signs: tuple[int, int]) -> Places:
    """Return where the ports are from their hubs, forward and left, m."""
    one, two = ((p.place_m[0], s * p.place_m[1]) for p, s in zip(ports, signs, strict=True))
    return one, two


def length_between(away: Place, ports_m: Places) -> float:
    """Return the length of the sightline from port to port, m."""
    (x, y), (u, v) = ports_m
    return math.hypot(away[0] + u - x, away[1] + v - y)
