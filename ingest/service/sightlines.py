"""One sightline between two settled heads: from what its head reads at rest to a direction."""

import math
from dataclasses import dataclass

from calibration.measured import Measured, Source
from calibration.records.chain import coefficients_of
from calibration.records.parts import Port
from ingest.chain.rest import RestReading
from ingest.core.channels import ROW, Channel
from ingest.geometry.carry import ShaftReading, plan_from, sighted_wheel
from ingest.geometry.network.plausible import FARTHEST_RAD
from ingest.geometry.network.sighting import PortSeen, PortSource, port_seen, sighting
from ingest.geometry.network.stations import Network, Reading
from ingest.geometry.runout import Runout
from ingest.service.bayhead import BayHead
from ingest.service.bayspread import SpreadSettings, standing_scatter
from ingest.service.results import reading_at_rest

UNKNOWN_PORT_M = 0.005
"""How well a port is known that no record describes: by hand, with a rule."""

SHAFT = (Channel.INCL_X, Channel.INCL_Y, Channel.ROTATION)


@dataclass(frozen=True, slots=True)
class Sat:
    """A head as it sits and rests on a wheel. ``standing`` counts how often the wheel was moved."""

    head: BayHead
    mounting: int
    standing: int
    runout: Runout
    rest: RestReading

    @property
    def wheel(self) -> str:
        """The wheel in words."""
        wheel = self.head.wheel
        assert wheel is not None
        return f"axle {wheel.axle} {wheel.side.value}"


def looks(here: Sat, channel: Channel) -> bool:
    """Say whether the channel sees a partner at all, and can tell in which direction."""
    if here.head.fixed or here.head.instrument.zero_open(channel.value):
        return False
    return math.isfinite(float(here.rest.values[ROW[channel]]))


def look(
    network: Network,
    reading: Reading,
    channel: Channel,
    ends: tuple[Sat, Sat],
    spread: SpreadSettings,
    clamp_offset_m: float,
) -> tuple[Reading, Measured] | None:
    """Return a direction between two heads at rest; None where the channel reads another line.

    ``clamp_offset_m``: how far off centre clamps sit on the rim (root mean square).

    Raises:
        MeasurementRefused: the clamp's error cannot be carried to where the shaft is.
    """
    here, there = ends
    estimates = here.runout.estimates
    if estimates is None or not looks(here, channel):
        return None
    means = {c.value: float(here.rest.values[ROW[c]]) for c in (*SHAFT, channel)}
    read = {c: reading_at_rest(here.head, here.rest, c, means) for c in (*SHAFT, channel)}
    line = network.station(reading.line.at), network.station(reading.line.to)
    away = line[1].x_m - line[0].x_m, line[1].y_m - line[0].y_m
    shaft = ShaftReading(
        read[Channel.INCL_X],
        read[Channel.INCL_Y],
        read[Channel.ROTATION],
        None,
        _elevation(here, there, channel, math.hypot(*away), line[1].z_m - line[0].z_m, spread),
    )
    seen = sighted_wheel(shaft, read[channel], estimates.angle, estimates.phase)
    off = math.remainder(-seen.heading.value - math.atan2(away[1], away[0]), math.tau)
    if abs(off) > FARTHEST_RAD:
        return None
    heading = seen.heading + standing_scatter(spread, here.wheel, here.standing)
    own = Measured.of(0.0, reading.sigma, source=f"{reading.named()}: the sightline itself")
    ports = (
        port_of(here, channel, seen.plan_rad, reading.line.at_port_m, spread, clamp_offset_m),
        port_of(there, channel, plan_rad(there), reading.line.to_port_m, spread, clamp_offset_m),
    )
    return sighting(network, reading, heading + own, ports)


def _elevation(
    here: Sat, there: Sat, channel: Channel, length_m: float, rise_m: float, spread: SpreadSettings
) -> Measured:
    """Return the elevation of a sightline, which falls from one end as it rises from the other."""
    first, last = sorted((here.mounting, there.mounting))
    source = Source(f"heights of the ports, {channel.value} {first} to {last}", shared=True)
    sign = 1.0 if here.mounting == first else -1.0
    tilt = Measured.of(0.0, spread.port_height_m / length_m, source=source) * sign
    return tilt + math.atan2(rise_m, length_m)


def plan_rad(sat: Sat) -> float:
    """Return by how much a head is turned against its wheel, counter-clockwise from above, rad."""
    estimates = sat.runout.estimates
    if estimates is None or sat.head.fixed:
        return 0.0
    at = [Measured.exact(float(sat.rest.values[ROW[c]])) for c in SHAFT]
    level = Measured.exact(0.0)
    shaft = ShaftReading(at[0], at[1], at[2], None, level)
    return plan_from(shaft, estimates.angle, estimates.phase)


def ports_of(
    ends: tuple[Sat, Sat],
    channel: Channel,
    reading: Reading,
    spread: SpreadSettings,
    clamp_offset_m: float,
) -> tuple[PortSeen, PortSeen]:
    """Return where the ports at both ends of a sightline are, as their heads rest."""
    one, two = (
        port_of(sat, channel, plan_rad(sat), stated_m, spread, clamp_offset_m)
        for sat, stated_m in zip(
            ends, (reading.line.at_port_m, reading.line.to_port_m), strict=True
        )
    )
    return one, two


def port_of(
    sat: Sat,
    channel: Channel,
    plan_rad: float,
    stated_m: tuple[float, float],
    s: SpreadSettings,
    clamp_offset_m: float,
) -> PortSeen:
    """Return where a head's port is; where no record tells, by what the network's file states."""
    wheel, record = sat.head.wheel, sat.head.instrument.record
    assert wheel is not None
    coefficients = None if record is None else coefficients_of(record)
    ports = {} if coefficients is None else dict(coefficients.ports.items())
    port = next((port for name, port in ports.items() if name == channel.value), None) or Port(
        forward_m=stated_m[0],
        outward_m=stated_m[1],
        u_forward_m=UNKNOWN_PORT_M,
        u_outward_m=UNKNOWN_PORT_M,
    )
    owner = f"port of {channel.value}, {sat.head.id}"
    stub_m = 0.0 if coefficients is None else coefficients.u_stub_m
    sources = (
        PortSource(Source(f"{owner}, forward", shared=True), forward_m=port.u_forward_m),
        PortSource(Source(f"{owner}, outward", shared=True), outward_m=port.u_outward_m),
        PortSource(Source(f"stub of {sat.head.id}", shared=True), outward_m=stub_m),
        PortSource(
            Source(f"centring of mounting {sat.mounting}", shared=True),
            forward_m=clamp_offset_m / math.sqrt(2.0),
        ),
        PortSource(Source(f"seat of mounting {sat.mounting}", shared=True), outward_m=s.seat_m),
    )
    lean_rad = float(sat.rest.values[ROW[Channel.INCL_Y]])
    place = (port.forward_m, port.outward_m)
    return port_seen(place, plan_rad, lean_rad, wheel.side, sources)
