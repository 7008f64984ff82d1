"""The steering of a swept wheel by the sightline across its axle, which both of its heads read.

The head at the far end is steered as well: what it reads, at the same moment on the host's clock,
tells with one's own how far the line between them has turned (``geometry/sweep/crossed``). Where
the kingpins pass counts for much more than on a sightline along the vehicle: 10 mm at each are
some 1 % of the steering.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import F64
from ingest.core.channels import ROW, Channel
from ingest.core.units import DEG, NS
from ingest.geometry.network.sighting import PortSeen
from ingest.geometry.network.stations import Kind, Network, Reading
from ingest.geometry.sweep.crossed import CrossLine
from ingest.geometry.sweep.sighted import Place
from ingest.service.bayspread import SpreadSettings
from ingest.service.instrument import Instrument
from ingest.service.sightlines import Sat, looks, plan_rad, port_of
from ingest.service.steersight import U_LENGTH_M, plan_rad_of

CROSS = Channel.AZIMUTH_CROSS
FASTEST_RAD_PER_S = 5.0 * DEG
"""A reading that was steered faster is not kept (``SweepAsked``)."""
UNKNOWN_CLOCK_S = 0.005
"""How far a head's clock may be off while nothing tells (ours to choose)."""
SMALL_RAD = 1e-4

Lines = tuple[tuple[Source, tuple[CrossLine, ...]], ...]
Heights = tuple[Place, Place]
"""Forward and left of each port from its hub, m: what its head's tilts raise it by."""


@dataclass(frozen=True, slots=True)
class CrossSteer:
    """The sightline to the head on the other wheel of the axle; ends and pairs: own, other.

    ``others`` as ``SightSteer`` has them; ``late_rad``: what the heads' clocks may put the other's
    reading wrong by, at the fastest steering.
    """

    line: CrossLine
    ends: tuple[Sat, Sat]
    ports_m: Heights
    rise_m: float
    length_m: float
    others: Lines
    straight_rad: float
    noise_rad: float
    late_rad: float

    channel = CROSS
    by_plate = False

    @property
    def u_rad(self) -> float:
        """How well one reading repeats: that of both heads, as the line's own turn swells them."""
        return self.noise_rad * math.hypot(*self._shares(0.0))

    def read(self, values: F64, across: F64 | None) -> float:
        """Return the steering of one sample (all channels), NaN where either sees nothing.

        ``across``: what the other head read at the same moment.
        """
        if across is None:
            return math.nan
        plans = plans_of((values, across), self.ports_m, self.rise_m, self.length_m)
        return self.line.steer_rad(plans)[0] if all(map(math.isfinite, plans)) else math.nan

    def left_open(self, known: Instrument, steer_rad: float) -> Measured:
        """Return what calibration, ports, places and clocks leave open of the steering.

        The other wheel is taken to be steered as far: the few degrees between them hardly count.
        """
        pair = (steer_rad, steer_rad)
        plans, shares = self.line.plan_rad(pair), self._shares(steer_rad)
        instruments = known, self.ends[1].head.instrument
        found = Measured(0.0, ())
        for i, (sat, instrument) in enumerate(zip(self.ends, instruments, strict=True)):
            straight = float(sat.rest.values[ROW[CROSS]])
            # The azimuth falls as the wheel is steered to the left.
            now = math.remainder(straight - plans[i] + self.line.straight_rad[i], math.tau)
            then, here = (
                instrument.left_open(CROSS.value, {CROSS.value: a}) for a in (straight, now)
            )
            found = found + (then - here) * shares[i]
        parts = [
            Part(source, tuple(each.steer_rad(plans)[0] - steer_rad for each in lines))
            for source, lines in self.others
        ]
        names = sorted(sat.wheel for sat in self.ends)
        late = Source(f"time between the heads of {' and '.join(names)}")
        parts.append(Part(late, (shares[1] * self.late_rad,)))
        return found + Measured(0.0, tuple(parts))

    def _shares(self, steer_rad: float) -> tuple[float, float]:
        """Return how far the steering goes with each head's plan angle."""
        own, other = self.line.plan_rad((steer_rad, steer_rad))
        moved = (own + SMALL_RAD, other), (own, other + SMALL_RAD)
        one, two = ((self.line.steer_rad(each)[0] - steer_rad) / SMALL_RAD for each in moved)
        return one, two


def plans_of(
    values: Sequence[F64], ports_m: Heights, rise_m: float, length_m: float
) -> tuple[float, float]:
    """Return both plan angles from the sightline to the shafts, NaN where one is not seen.

    The ports rise and fall as locked heads tilt with their knuckles, one as the other falls, so
    that the line slopes by up to a degree; a head that tilts reads a line that slopes otherwise.
    """
    heights = [
        ahead * math.sin(each[ROW[Channel.INCL_X]]) + left * math.sin(each[ROW[Channel.INCL_Y]])
        for each, (ahead, left) in zip(values, ports_m, strict=True)
    ]
    rise_rad = math.atan2(rise_m + heights[1] - heights[0], length_m)
    one, two = (
        plan_rad_of(each, CROSS, rise)
        for each, rise in zip(values, (rise_rad, -rise_rad), strict=True)
    )
    return one, two


def cross_steer(
    network: Network,
    reading: Reading,
    ends: tuple[Sat, Sat],
    spread: SpreadSettings,
    clamp_offset_m: float,
    kingpin_m: tuple[float, float],
) -> CrossSteer | None:
    """Return how the sightline across an axle tells the steering of the wheel at its first end.

    None where its heads do not see each other. Arguments as ``sight_steer`` has them; both ends
    are straight ahead.
    """
    stations = network.station(reading.line.at), network.station(reading.line.to)
    sides = stations[0].side, stations[1].side
    if sides[0] is None or sides[1] is None or not all(looks(sat, CROSS) for sat in ends):
        return None
    stated = reading.line.at_port_m, reading.line.to_port_m
    one, two = (
        port_of(sat, CROSS, plan_rad(sat), place, spread, clamp_offset_m)
        for sat, place in zip(ends, stated, strict=True)
    )
    signs = sides[0].sign, sides[1].sign
    away, u_length_m = _away(network, reading)
    heights = _heights((one, two), signs)
    rise_m, length_m = stations[1].z_m - stations[0].z_m, _length_m(away, heights)
    values = ends[0].rest.values, ends[1].rest.values
    straight = plans_of(values, heights, rise_m, length_m)
    if not all(map(math.isfinite, straight)):
        return None
    if (
        not abs(
            math.remainder(straight[0] + math.atan2(away[1], away[0]) - math.pi / 2.0, math.tau)
        )
        < math.pi / 4.0
    ):
        return None  # the channel sees another head
    build = _Build((one, two), signs, away, kingpin_m[0], straight)
    others = _others(build, ends, kingpin_m[1], (f"length of {reading.named()}", u_length_m))
    clocks_s = [_clock_s(sat) for sat in ends]
    return CrossSteer(
        build.line(),
        ends,
        heights,
        rise_m,
        length_m,
        others,
        float(values[0][ROW[CROSS]]),
        reading.sigma,
        FASTEST_RAD_PER_S * math.hypot(*clocks_s) / math.sqrt(3.0),
    )


@dataclass(frozen=True, slots=True)
class _Build:
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


def _others(
    build: _Build, ends: tuple[Sat, Sat], u_kingpin_m: float, length: tuple[str, float]
) -> Lines:
    found: list[tuple[Source, tuple[CrossLine, ...]]] = []
    for i in range(2):
        found += [
            (s.source, (build.line(i, forward=s.forward_m), build.line(i, outward=s.outward_m)))
            for s in build.ports[i].sources
        ]
    # One figure serves both kingpins of an axle, and is off for both alike.
    axle = Source(f"places of the kingpins, {' and '.join(sorted(sat.wheel for sat in ends))}")
    found.append((axle, (build.line(inboard=u_kingpin_m),)))
    found.append((Source(length[0]), (build.line(longer=length[1]),)))
    return tuple(found)


def _away(network: Network, reading: Reading) -> tuple[Place, float]:
    """Return the one hub from the other, by a tape between them where there is one, and its u."""
    at, to = network.station(reading.line.at), network.station(reading.line.to)
    away, between = (to.x_m - at.x_m, to.y_m - at.y_m), {reading.line.at, reading.line.to}
    for each in network.readings:
        tape = each.kind is Kind.DISTANCE and {each.line.at, each.line.to} == between
        if tape and each.used and each.value is not None:
            stretch = each.value / math.hypot(*away)
            return (away[0] * stretch, away[1] * stretch), each.sigma
    return away, U_LENGTH_M


def _heights(ports: tuple[PortSeen, PortSeen], signs: tuple[int, int]) -> Heights:
    one, two = ((p.place_m[0], s * p.place_m[1]) for p, s in zip(ports, signs, strict=True))
    return one, two


def _length_m(away: Place, ports_m: Heights) -> float:
    (x, y), (u, v) = ports_m
    return math.hypot(away[0] + u - x, away[1] + v - y)


def _clock_s(sat: Sat) -> float:
    """Return how far off the times of a head may be, s."""
    chain = sat.head.slot.feed.chain
    bound_ns = None if chain is None else chain.clock.bound_ns
    return UNKNOWN_CLOCK_S if bound_ns is None else bound_ns / NS
