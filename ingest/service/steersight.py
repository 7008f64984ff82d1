"""What tells the steering of a swept wheel: its turn plate, or a sightline to a head that stands.

A sightline to the other wheel of the axle, which is steered too, is in ``steercross``. Which
sightlines a head may read, and how well, is told by the network of its vehicle. The one that leaves
least open in caster is used; where there is a second, the two are compared.
"""

import math
from dataclasses import dataclass
from typing import Protocol

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import F64
from ingest.core.channels import ROW, Channel
from ingest.core.units import DEG
from ingest.geometry.attitude import sightline_to_shaft
from ingest.geometry.network.stations import Network, Reading
from ingest.geometry.sweep.sighted import Place, SteerLine
from ingest.service.bayspread import SpreadSettings
from ingest.service.instrument import Instrument
from ingest.service.sightlines import Sat, looks, ports_of

PLATE_RAD = 0.02 * DEG
"""How well a reading of a turn plate repeats, beside what calibration leaves open of it (ours)."""

EVEN, ODD = 1.25, 0.35
"""How far caster goes with an error of the steering at 20 deg that is the same, or opposite, to
both sides, where the axle's roll is fitted: 30 mm of a kingpin and 1 % of scale, worked out."""

U_LENGTH_M = 0.05
"""How well a network's approximate places give the length of a sightline."""


class SteerBy(Protocol):
    """A way to tell the steering: by its ``channel``, which reads ``straight_rad`` straight ahead.

    ``u_rad``: how well one reading repeats. ``by_plate``: it is the turn of a plate, not of the
    shaft's heading.
    """

    @property
    def channel(self) -> Channel: ...
    @property
    def straight_rad(self) -> float: ...
    @property
    def u_rad(self) -> float: ...
    @property
    def by_plate(self) -> bool: ...

    def read(self, values: F64, across: F64 | None) -> float:
        """Return the steering of one sample (all channels), NaN where it is not seen.

        ``across``: what the axle's other head read at the same moment, where that is known.
        """

    def left_open(self, known: Instrument, steer_rad: float) -> Measured:
        """Return what the reading may be off by at a steering, however often it is read."""


@dataclass(frozen=True, slots=True)
class PlateSteer:
    """The turn plate under a wheel."""

    straight_rad: float = 0.0
    channel: Channel = Channel.STEER
    u_rad: float = PLATE_RAD

    by_plate = True

    def read(self, values: F64, _across: F64 | None = None) -> float:
        """Return the steering of one sample (all channels), NaN where it is not seen."""
        value = float(values[ROW[Channel.STEER]])
        return (
            math.remainder(value - self.straight_rad, math.tau)
            if math.isfinite(value)
            else math.nan
        )

    def left_open(self, known: Instrument, steer_rad: float) -> Measured:
        """Return what calibration leaves open of the steering, straight ahead taken out."""
        name = self.channel.value
        ends = [
            known.left_open(name, {name: at})
            for at in (steer_rad + self.straight_rad, self.straight_rad)
        ]
        return ends[0] - ends[1]


@dataclass(frozen=True, slots=True)
class SightSteer:
    """A sightline to a head on a wheel that stands.

    ``straight_rad``: what the azimuth was straight ahead. ``others``: the lines as they would be
    with each component of a source off by its standard uncertainty (of a port forward, outward: as
    a network counts the same port). ``target``: the head that it leads to, as it sat.
    """

    channel: Channel
    u_rad: float
    line: SteerLine
    straight_rad: float
    rise_rad: float
    others: tuple[tuple[Source, tuple[SteerLine, ...]], ...]
    target: Sat

    by_plate = False

    def read(self, values: F64, _across: F64 | None = None) -> float:
        """Return the steering of one sample (all channels), NaN where it is not seen."""
        plan = plan_rad_of(values, self.channel, self.rise_rad)
        return self.line.steer_rad(plan) if math.isfinite(plan) else math.nan

    def left_open(self, known: Instrument, steer_rad: float) -> Measured:
        """Return what calibration, ports and places leave open of the steering."""
        name, plan = self.channel.value, self.line.plan_rad(steer_rad)
        # The azimuth falls as the wheel is steered to the left.
        now = math.remainder(self.straight_rad - plan + self.line.straight_rad, math.tau)
        ends = [known.left_open(name, {name: at}) for at in (now, self.straight_rad)]
        parts = [
            Part(
                source,
                tuple(math.remainder(line.steer_rad(plan) - steer_rad, math.tau) for line in lines),
            )
            for source, lines in self.others
        ]
        return ends[1] - ends[0] + Measured(0.0, tuple(parts))


def scale_of(by: SteerBy, known: Instrument, far_rad: float) -> float:
    """Return the standard uncertainty of a steering's scale, told over so much of it."""
    return by.left_open(known, far_rad).u / far_rad


def doubt_of(by: SteerBy, known: Instrument, far_rad: float) -> float:
    """Return about what a way to tell the steering leaves open in caster, rad."""
    left, right = (by.left_open(known, side * far_rad) for side in (1.0, -1.0))
    return math.hypot(EVEN * (left + right).u / 2.0, ODD * (left - right).u / 2.0)


def sight_steer(
    network: Network,
    reading: Reading,
    channel: Channel,
    ends: tuple[Sat, Sat],
    spread: SpreadSettings,
    clamp_offset_m: float,
    kingpin_m: tuple[float, float],
) -> SightSteer | None:
    """Return how a sightline tells the steering of the wheel at its first end.

    None where its head does not see it. ``ends`` are at rest, the first straight ahead.
    ``kingpin_m``: how far inboard of the hub's face the kingpin passes, and its uncertainty.
    """
    here, there = ends
    at, to = network.station(reading.line.at), network.station(reading.line.to)
    if at.side is None or to.side is None or not looks(here, channel):
        return None
    ports = ports_of(ends, channel, reading, spread, clamp_offset_m)
    away = to.x_m - at.x_m, to.y_m - at.y_m
    rise_rad = math.atan2(to.z_m - at.z_m, math.hypot(*away))
    values = here.rest.values
    straight = plan_rad_of(values, channel, rise_rad)
    if sees_another(straight, away):
        return None
    sign = at.side.sign

    def line(
        forward: float = 0.0, outward: float = 0.0, inboard: float = 0.0, longer: float = 0.0
    ) -> SteerLine:
        assert to.side is not None
        own, target = ports[0].place_m, ports[1].place_m
        inset = kingpin_m[0] + inboard
        stretch = 1.0 + longer / math.hypot(*away)
        return SteerLine(
            (own[0] + forward, sign * (own[1] + outward + inset)),
            (
                away[0] * stretch + target[0],
                away[1] * stretch + to.side.sign * target[1] + sign * inset,
            ),
            straight,
        )

    others: list[tuple[Source, tuple[SteerLine, ...]]] = [
        (s.source, (line(forward=s.forward_m), line(outward=s.outward_m))) for s in ports[0].sources
    ]
    others.append((Source(f"place of the kingpin, {here.wheel}"), (line(inboard=kingpin_m[1]),)))
    others.append((Source(f"length of {reading.named()}"), (line(longer=U_LENGTH_M),)))
    azimuth = float(values[ROW[channel]])
    return SightSteer(channel, reading.sigma, line(), azimuth, rise_rad, tuple(others), there)


def sees_another(straight_rad: float, away: Place) -> bool:
    """Say whether a wheel that stands straight ahead sees another head than the one that lies
    ``away`` from it, or none: the plan angle would then have it steered by 45 degrees and more."""
    off = math.remainder(straight_rad + math.atan2(away[1], away[0]) - math.pi / 2.0, math.tau)
    return not abs(off) < math.pi / 4.0


def plan_rad_of(values: F64, channel: Channel, rise_rad: float) -> float:
    """Return the plan angle from the sightline to the shaft, NaN where it is not seen."""
    azimuth, tilt, lean = (float(values[ROW[c]]) for c in (channel, Channel.INCL_X, Channel.INCL_Y))
    if not (math.isfinite(azimuth) and math.isfinite(tilt) and math.isfinite(lean)):
        return math.nan
    return float(sightline_to_shaft(azimuth, tilt, lean, rise_rad))
