"""A measuring head in space: how it sits on its shaft and what it would read if it were perfect.

The head's body is forward, left, up on both sides. Its left axis lies along the stub shaft;
it hangs on the shaft, or is locked to it and turns with the wheel.
"""

from dataclasses import dataclass, field

import numpy as np

from ingest.core.blocks import F64
from ingest.core.channels import CHANNELS, Channel
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.simulator.clamp import STUB_M, Clamping, Shaft
from ingest.simulator.sensors import Sensors, Warming
from ingest.simulator.swing import Pendulum, Swing
from ingest.simulator.vectors import UP, cross, dot, mix, unit
from ingest.simulator.vehicle import WheelAt

VIEW_RAD = 30.0 * DEG
"""A sight sensor sees this far to each side of straight across or straight along."""

VIEW_HEIGHT_RAD = 10.0 * DEG
"""... and this far above and below the head's own plane."""


@dataclass(frozen=True, slots=True)
class Port:
    """Where a sightline starts or ends: forward and outward of the hub, on an arm of the head.

    ``outward_m`` holds for the nominal stub; the head itself carries the port that much less
    ``STUB_M`` beyond its pivot.
    """

    forward_m: float
    outward_m: float


@dataclass(frozen=True, slots=True)
class HeadDesign:
    """What a head is: its identity, its ports, and which channels it has.

    A ``fixed`` head turns with its wheel and has no encoder; it must be ``three_axis``.
    ``lacks`` names channels that this head has not; ``view_rad``: how far its sight sensors see to
    each side.
    """

    head: HeadId
    cross: Port = Port(0.60, 0.28)
    track: Port = Port(0.10, 0.30)
    three_axis: bool = False
    fixed: bool = False
    lacks: frozenset[Channel] = frozenset()
    view_rad: float = VIEW_RAD

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels that the head declares, in the order of the wire."""
        missing = set(self.lacks)
        if not self.three_axis:
            missing.add(Channel.INCL_Z)
        if self.fixed:
            missing.add(Channel.ROTATION)
        return tuple(channel for channel in CHANNELS if channel not in missing)


@dataclass(frozen=True, slots=True)
class Seat:
    """A head on a wheel, by one mounting of its clamp, from a moment on."""

    wheel: WheelAt
    clamping: Clamping


@dataclass(frozen=True, slots=True)
class HeadPose:
    """A head in the level world; ``rotation_rad`` is what a perfect encoder reads."""

    pivot_m: F64
    forward: F64
    left: F64
    up: F64
    rotation_rad: F64


@dataclass(frozen=True, slots=True)
class WornClamp:
    """A clamp that slips some time after each mounting: how far, and after how long."""

    slips_rad: float
    after_s: float


@dataclass(frozen=True, slots=True)
class Battery:
    """A head's battery: its charge at first, and how fast it is used up, percent."""

    at_first: float = 96.0
    per_hour: float = 6.0

    def percent(self, t_s: float) -> int:
        """Return what a head says of it."""
        return max(0, int(self.at_first - self.per_hour * t_s / 3600.0))


@dataclass(slots=True)
class Head:
    """One head: what it is, what is wrong with its sensors, how it hangs, and where it was.

    ``seats`` and ``locks`` are histories, oldest first: from that time on the head sits there
    (None: it lies on the trolley), and is locked to its shaft at that angle (None: it hangs).
    """

    design: HeadDesign
    sensors: Sensors = field(default_factory=Sensors)
    warming: Warming = field(default_factory=Warming)
    pendulum: Pendulum = field(default_factory=Pendulum)
    battery: Battery = field(default_factory=Battery)
    worn: WornClamp | None = None
    swing: Swing = field(init=False)
    seats: list[tuple[float, Seat | None]] = field(default_factory=list)
    locks: list[tuple[float, float | None]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.swing = Swing(self.pendulum)

    def seat_at(self, t_s: float) -> Seat | None:
        """Return where the head sits at a moment, or None for the trolley."""
        return next((seat for at, seat in reversed(self.seats) if at <= t_s), None)

    def lock_at(self, t_s: float) -> float | None:
        """Return the encoder angle at which the head is locked to its shaft, if it is."""
        if self.design.fixed:
            return 0.0
        return next((lock for at, lock in reversed(self.locks) if at <= t_s), None)


def hanging(shaft: Shaft, swing_rad: F64) -> HeadPose:
    """Return the pose of a head that hangs on a shaft, turned by its swing about the shaft."""
    level = unit(cross(shaft.left, UP))
    plumb = cross(level, shaft.left)
    cos, sin = np.cos(swing_rad), np.sin(swing_rad)
    forward, up = mix(cos, level, -sin, plumb), mix(cos, plumb, sin, level)
    rotation = np.arctan2(-dot(shaft.zero, up), dot(shaft.zero, forward))
    return HeadPose(shaft.pivot_m, forward, shaft.left, up, rotation)


def locked(shaft: Shaft, rotation_rad: float) -> HeadPose:
    """Return the pose of a head locked to its shaft while the encoder read that angle.

    Inverse of zero = cos(rotation) forward - sin(rotation) up.
    """
    cos, sin = np.cos(rotation_rad), np.sin(rotation_rad)
    forward = cos * shaft.zero + sin * shaft.third
    up = cos * shaft.third - sin * shaft.zero
    return HeadPose(shaft.pivot_m, forward, shaft.left, up, np.array([rotation_rad]))


def on_trolley() -> HeadPose:
    """Return the pose of a head that lies on its trolley beside the bay, a little askew."""
    left = unit(np.array([[0.01, 1.0, 0.03]]))
    forward = unit(cross(left, UP))
    away = np.array([[-6.0, 5.0, 0.9]])
    return HeadPose(away, forward, left, cross(forward, left), np.zeros(1))


def port_m(pose: HeadPose, port: Port, side: Side) -> F64:
    """Return where a port is in the level world."""
    outward = side.sign * (port.outward_m - STUB_M)
    place: F64 = pose.pivot_m + port.forward_m * pose.forward + outward * pose.left
    return place


def elevation(axis: F64) -> F64:
    """Return the angle of unit vectors over the horizontal, radians."""
    angle: F64 = np.arcsin(np.clip(axis[:, 2], -1.0, 1.0))
    return angle


def sight(
    pose: HeadPose,
    start_m: F64,
    end_m: F64,
    middles_rad: tuple[float, ...],
    view_rad: float = VIEW_RAD,
) -> F64:
    """Return the direction of a sightline in the head's own plane; NaN where it is not in view.

    ``middles_rad``: the directions in which the sensor looks.
    """
    way = unit(end_m - start_m)
    azimuth: F64 = np.arctan2(dot(way, pose.left), dot(way, pose.forward))
    height = np.abs(np.arcsin(np.clip(dot(way, pose.up), -1.0, 1.0)))
    off = np.min([np.abs(wrapped(azimuth - middle)) for middle in middles_rad], axis=0)
    return np.where((off < view_rad) & (height < VIEW_HEIGHT_RAD), azimuth, np.nan)


def wrapped(angle_rad: F64) -> F64:
    """Return angles within half a turn of zero: from -pi up to but without +pi."""
    turned: F64 = (angle_rad + np.pi) % (2.0 * np.pi) - np.pi
    return turned
