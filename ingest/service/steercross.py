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
from ingest.geometry.network.stations import Network, Reading
from ingest.geometry.sweep.crossed import CrossLine
from ingest.service.bayspread import SpreadSettings
from ingest.service.crossbuild import (
    CrossBuild,
    Lines,
    Places,
    away_of,
    length_between,
    places_of,
)
from ingest.service.instrument import Instrument
from ingest.service.sightlines import Sat, looks, ports_of
from ingest.service.steersight import plan_rad_of, sees_another

CROSS = Channel.AZIMUTH_CROSS
FASTEST_RAD_PER_S = 5.0 * DEG
"""A reading that was steered faster is not kept (``SweepAsked``)."""
UNKNOWN_CLOCK_S = 0.005
"""How far a head's clock may be off while nothing tells (ours to choose)."""
SMALL_RAD = 1e-4


@dataclass(frozen=True, slots=True)
class CrossSteer:
    """The sightline to the head on the other wheel of the axle; ends and pairs: own, other.

    ``others`` as ``SightSteer`` has them; ``late_rad``: what the heads' clocks may put the other's
    reading wrong by, at the fastest steering.
    """

    line: CrossLine
    ends: tuple[Sat, Sat]
    ports_m: Places
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
    values: Sequence[F64], ports_m: Places, rise_m: float, length_m: float
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
    ports = ports_of(ends, CROSS, reading, spread, clamp_offset_m)
    signs = sides[0].sign, sides[1].sign
    away, u_length_m = away_of(network, reading)
    heights = places_of(ports, signs)
    rise_m, length_m = stations[1].z_m - stations[0].z_m, length_between(away, heights)
    values = ends[0].rest.values, ends[1].rest.values
    straight = plans_of(values, heights, rise_m, length_m)
    if not all(map(math.isfinite, straight)) or sees_another(straight[0], away):
        return None
    build = CrossBuild(ports, signs, away, kingpin_m[0], straight)
    others = build.others(ends, kingpin_m[1], (f"length of {reading.named()}", u_length_m))
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


def _clock_s(sat: Sat) -> float:
    """Return how far off the times of a head may be, s."""
    chain = sat.head.slot.feed.chain
    bound_ns = None if chain is None else chain.clock.bound_ns
    return UNKNOWN_CLOCK_S if bound_ns is None else bound_ns / NS
