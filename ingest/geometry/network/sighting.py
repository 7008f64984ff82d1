"""A sightline as a settled head reads it: a direction in the network, and what it may be off by.

The head is turned against its wheel by its clamp's error, and its ports with it: 0.6 m of arm at
1 deg are 10 mm across the sightline's other end. That is known from the run-out and taken in.
What is not known of a port (its record, the length of the stub, where the clamp sits) turns the
line by its share across the line over the line's length, for whichever end looks along it.
"""

import math
from dataclasses import dataclass, replace

from calibration.measured import Measured, Part, Source
from ingest.core.frames import Side
from ingest.geometry.network.stations import Line, Network, Port, Reading


@dataclass(frozen=True, slots=True)
class PortSource:
    """One reason for which a port is not where it is taken to be: along the wheel's heading and
    outward of it, one standard uncertainty each, m. Equal names are one and the same error."""

    source: Source
    forward_m: float = 0.0
    outward_m: float = 0.0


@dataclass(frozen=True, slots=True)
class PortSeen:
    """A port against its wheel: forward of the hub in the wheel's heading and outward, m."""

    place_m: Port
    sources: tuple[PortSource, ...] = ()


def port_seen(
    port_m: Port, plan_rad: float, lean_rad: float, side: Side, sources: tuple[PortSource, ...]
) -> PortSeen:
    """Return where the port of a hanging head is.

    Args:
        port_m: forward along the head's forward axis and outward along its shaft.
        plan_rad: from the wheel's spin axis to the shaft, counter-clockwise from above.
        lean_rad: elevation of the shaft's left axis.
        side: of the vehicle.
        sources: what is not known of it.
    """
    forward, left = port_m[0], side.sign * port_m[1] * math.cos(lean_rad)
    c, s = math.cos(plan_rad), math.sin(plan_rad)
    return PortSeen((c * forward - s * left, side.sign * (s * forward + c * left)), sources)


def sighting(
    network: Network, reading: Reading, heading: Measured, ports: tuple[PortSeen, PortSeen]
) -> tuple[Reading, Measured]:
    """Return a direction as the network takes it, and its value with all that it may be off by.

    Args:
        network: its approximate positions give the line's bearing and length.
        reading: the direction that was to be read.
        heading: plan angle from the sightline to the wheel's heading, as ``carry`` tells it.
        ports: where the sightline starts and ends.
    """
    here, there = ports
    line = Line(reading.line.at, reading.line.to, here.place_m, there.place_m)
    at, to = network.station(line.at), network.station(line.to)
    start, end = _laid(here.place_m, at.side), _laid(there.place_m, to.side)
    along = to.x_m + end[0] - at.x_m - start[0], to.y_m + end[1] - at.y_m - start[1]
    square = along[0] ** 2 + along[1] ** 2
    across = -along[1] / square, along[0] / square
    errors = {each.source: [0.0, 0.0] for each in (*here.sources, *there.sources)}
    for seen, side, sign in ((here, at.side, -1.0), (there, to.side, 1.0)):
        outward = side.sign if side is not None else 1
        for each in seen.sources:
            turned = errors[each.source]
            turned[0] += sign * across[0] * each.forward_m
            turned[1] += sign * across[1] * each.outward_m * outward
    more = tuple(Part(source, tuple(each)) for source, each in errors.items())
    value = math.remainder(-heading.value, math.tau)
    direction = Measured(value, (*(-heading).parts, *more), heading.stands_on)
    return replace(reading, line=line, value=value, sigma=direction.u), direction


def _laid(port_m: Port, side: Side | None) -> Port:
    """Return a port forward and left, for a wheel that points straight ahead."""
    return port_m[0], port_m[1] * (side.sign if side is not None else 1)
