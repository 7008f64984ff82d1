"""An exact vehicle in space: hubs and spin axes of every wheel at any time.

The vehicle's own frame is X forward, Y left, Z up from the plane that its wheels stand on;
the ramp's tilt turns all of it against the vertical. Metres, radians, seconds.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from ingest.core.blocks import F64
from ingest.core.frames import Side
from ingest.simulator.floor import Floor
from ingest.simulator.motion import Track
from ingest.simulator.obstacles import Box, Tyre
from ingest.simulator.vectors import UP, cross, mix, turn_about, unit

FORWARD: F64 = np.array([[1.0, 0.0, 0.0]])
LEFTWARD: F64 = np.array([[0.0, 1.0, 0.0]])
AT_FIRST: F64 = np.zeros(1)


class WheelAt(NamedTuple):
    """Which wheel: the axle, counted from the front, and the side."""

    axle: int
    side: Side

    def __str__(self) -> str:
        return f"axle {self.axle} {self.side}"


@dataclass(frozen=True, slots=True)
class WheelBuild:
    """How one wheel sits on its axle, standing and straight ahead, against the ramp plane.

    ``play_rad``: how far it leans either way on a loose bearing, anew each time that it settles.
    """

    camber_rad: float
    toe_rad: float
    caster_rad: float = 0.0
    sai_rad: float = 0.0
    play_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class AxleBuild:
    """One axle: where its middle stands, how far its flanges are apart, and its wheels."""

    number: int
    x_m: float
    y_m: float
    track_m: float
    radius_m: float
    heading_rad: float
    left: WheelBuild
    right: WheelBuild
    dual: bool = False
    steered: bool = False
    kingpin_inset_m: float = 0.25
    """From the flange inward to the steering axis, at hub height."""
    roll_per_steer: float = 0.0
    """A beam axle rolls as it is steered: its left end rises by so much, rad per rad to the left
    (mean of both wheels), since caster lowers the inner wheel."""
    softness: float = 1.0
    """How much more than usual its wheels scatter as they settle; above 1 they creep, too."""

    def wheel(self, side: Side) -> WheelBuild:
        return self.left if side is Side.LEFT else self.right


@dataclass(slots=True)
class WheelState:
    """What a technician moves on one wheel. ``*_give`` is what lifting and settling add.

    Adjusting adds to what was built: ``linked`` is how far rods turned the knuckle about its
    steering axis, ``tip`` how far wedges leaned that axis rearward, about the axle's own line.
    """

    spin: Track = field(default_factory=lambda: Track(0.0))
    steer: Track = field(default_factory=lambda: Track(0.0))
    linked: Track = field(default_factory=lambda: Track(0.0))
    tip: Track = field(default_factory=lambda: Track(0.0))
    camber_give: Track = field(default_factory=lambda: Track(0.0))
    toe_give: Track = field(default_factory=lambda: Track(0.0))


@dataclass(slots=True)
class AxleState:
    """What a jack moves: the axle's height over its plates and its roll about X.

    Adjusting adds to what was built: ``turned`` to the left, ``ahead`` forward, ``aside`` to the
    left, each of the whole axle with hubs and wheels.
    """

    lift: Track = field(default_factory=lambda: Track(0.0))
    roll: Track = field(default_factory=lambda: Track(0.0))
    turned: Track = field(default_factory=lambda: Track(0.0))
    ahead: Track = field(default_factory=lambda: Track(0.0))
    aside: Track = field(default_factory=lambda: Track(0.0))


@dataclass(frozen=True, slots=True)
class WheelPose:
    """A wheel in the level world, one row per time (or one row while it stands still).

    ``hub_m`` is the middle of the flange; ``left`` the spin axis pointing left on both sides;
    ``forward`` and ``upward`` turn with the wheel, and are so at spin zero.
    """

    hub_m: F64
    forward: F64
    left: F64
    upward: F64


class Vehicle:
    """A vehicle on a ramp: what is built, and where its wheels are at any time."""

    def __init__(
        self,
        name: str,
        axles: tuple[AxleBuild, ...],
        beams: tuple[Box, ...] = (),
        ramp_roll_rad: float = 0.0,
        ramp_pitch_rad: float = 0.0,
        unseen: frozenset[frozenset[WheelAt]] = frozenset(),
    ) -> None:
        self.name = name
        self.unseen = unseen
        """Pairs of wheels whose heads cannot see each other, whatever stands between them."""
        self.axles = {axle.number: axle for axle in axles}
        self.beams = beams
        self.tyres = tuple(_tyre(axle, side) for axle in axles for side in Side)
        self.axle_state = {axle.number: AxleState() for axle in axles}
        self.wheel_state = {wheel: WheelState() for wheel in self.wheels}
        self.ramp = _ramp(ramp_roll_rad, ramp_pitch_rad)
        self.travel = Track(0.0)
        """How far the vehicle was pushed; its own frame goes along."""
        self.floor = Floor()
        self._stood: dict[WheelAt, tuple[Floor, tuple[int | None, ...], WheelPose]] = {}
        """Where each wheel stood when nothing of it moved: it is asked for again and again."""

    @property
    def wheels(self) -> tuple[WheelAt, ...]:
        return tuple(WheelAt(number, side) for number in self.axles for side in Side)

    def wheel_pose(self, wheel: WheelAt, t_s: F64) -> WheelPose:
        """Return where a wheel is at each time, in the level world."""
        resting = tuple(track.resting(t_s) for track in self._tracks(wheel))
        stood = self._stood.get(wheel)
        if stood is not None and stood[0] is self.floor and stood[1] == resting:
            return stood[2]
        pose = self._wheel_pose(wheel, t_s)
        if None not in resting:
            self._stood[wheel] = self.floor, resting, pose
        return pose

    def _tracks(self, wheel: WheelAt) -> Iterator[Track]:
        """Yield all that can move a wheel."""
        state, axle = self.wheel_state[wheel], self.axle_state[wheel.axle]
        across = self.wheel_state[WheelAt(wheel.axle, wheel.side.other)]
        yield from (state.spin, state.steer, state.linked, state.tip)
        yield from (state.camber_give, state.toe_give, across.steer)
        yield from (axle.lift, axle.roll, axle.turned, axle.ahead, axle.aside, self.travel)

    def _wheel_pose(self, wheel: WheelAt, t_s: F64) -> WheelPose:
        axle, state = self.axles[wheel.axle], self.wheel_state[wheel]
        built = axle.wheel(wheel.side)
        basis = _spun(
            spin_axis(
                wheel.side,
                built.camber_rad + state.camber_give.at(t_s),
                built.toe_rad + state.toe_give.at(t_s),
            ),
            state.spin.at(t_s),
        )
        arm = wheel.side.sign * axle.track_m / 2.0 * _across(axle.heading_rad)
        steered = self._steered(wheel, t_s, arm, *basis)
        state_of_axle = self.axle_state[wheel.axle]
        steered = self._adjusted(wheel, t_s, *steered)
        under = self.floor.roll_rad(axle.x_m + self.travel.at(t_s))
        roll = state_of_axle.roll.at(t_s) + under + self._steered_roll(axle, t_s)
        arm, forward, left, upward = (turn_about(FORWARD, roll, v) for v in steered)
        height = axle.radius_m + state_of_axle.lift.at(t_s)
        middle = np.array([[axle.x_m, axle.y_m, 0.0]]) + height[:, None] * UP
        middle = middle + state_of_axle.ahead.at(t_s)[:, None] * FORWARD
        middle = middle + state_of_axle.aside.at(t_s)[:, None] * LEFTWARD
        return WheelPose(*((v @ self.ramp.T) for v in (middle + arm, forward, left, upward)))

    def steering_axis(self, wheel: WheelAt, t_s: F64 = AT_FIRST) -> F64:
        """Return the unit vector along a wheel's steering axis, upward, in the vehicle's frame."""
        return self._adjusted(wheel, t_s, self.built_axis(wheel))[0]

    def built_axis(self, wheel: WheelAt) -> F64:
        """Return the steering axis as built, before anything was adjusted."""
        built = self.axles[wheel.axle].wheel(wheel.side)
        inward = -wheel.side.sign * np.tan(built.sai_rad)
        return unit(np.array([[-np.tan(built.caster_rad), inward, 1.0]]))

    def plate_turn(self, wheel: WheelAt, t_s: F64) -> F64:
        """Return how far the turn plate under a wheel has turned: the part about Z."""
        turn: F64 = self._knuckle(wheel, t_s) * self.steering_axis(wheel, t_s)[:, 2]
        return turn

    def stands(self, axle: int, t_s: float) -> bool:
        """Say whether an axle rests on its plates."""
        return bool(self.axle_state[axle].lift.at(np.array([t_s]))[0] <= 0.0)

    def to_vehicle(self, point_m: F64) -> F64:
        """Turn points of the level world into the vehicle's frame."""
        turned: F64 = point_m @ self.ramp
        return turned

    def _steered_roll(self, axle: AxleBuild, t_s: F64) -> F64:
        left, right = (self.wheel_state[WheelAt(axle.number, s)].steer.at(t_s) for s in Side)
        roll: F64 = axle.roll_per_steer * (left + right) / 2.0
        return roll

    def _steered(self, wheel: WheelAt, t_s: F64, arm: F64, *basis: F64) -> tuple[F64, ...]:
        """Turn the knuckle, with hub and wheel, about its steering axis."""
        axle = self.axles[wheel.axle]
        angle, axis = self._knuckle(wheel, t_s), self.built_axis(wheel)
        offset = wheel.side.sign * axle.kingpin_inset_m * _across(axle.heading_rad)
        out = turn_about(axis, angle, offset)
        return arm - offset + out, *(turn_about(axis, angle, v) for v in basis)

    def _knuckle(self, wheel: WheelAt, t_s: F64) -> F64:
        """Return the turn of a knuckle about its steering axis: by the driver, and by its rods."""
        state = self.wheel_state[wheel]
        turn: F64 = state.steer.at(t_s) + state.linked.at(t_s)
        return turn

    def _adjusted(self, wheel: WheelAt, t_s: F64, *vectors: F64) -> tuple[F64, ...]:
        """Lean vectors of one wheel with its spring pad, then turn them with the axle."""
        line = _across(self.axles[wheel.axle].heading_rad)
        leaned = _unless_zero(line, -self.wheel_state[wheel].tip.at(t_s), *vectors)
        return _unless_zero(UP, self.axle_state[wheel.axle].turned.at(t_s), *leaned)


def spin_axis(side: Side, camber_rad: F64, toe_rad: F64) -> F64:
    """Return the spin axis pointing LEFT, shape (n, 3), from camber and toe (ISO 8855 signs).

    Outward it is (cos c sin t, side cos c cos t, -sin c): the top leans out with positive
    camber c, so the axis points down outward; the front points in with positive toe t, so
    the axis points forward outward.
    """
    camber, toe = np.broadcast_arrays(np.atleast_1d(camber_rad), np.atleast_1d(toe_rad))
    level = np.cos(camber)
    outward = (level * np.sin(toe), side.sign * level * np.cos(toe), -np.sin(camber))
    return side.sign * np.stack(outward, axis=1)


def _spun(left: F64, spin_rad: F64) -> tuple[F64, F64, F64]:
    forward = unit(cross(left, UP))
    upward = cross(forward, left)
    cos, sin = np.cos(spin_rad), np.sin(spin_rad)
    return mix(cos, forward, -sin, upward), left, mix(cos, upward, sin, forward)


def _unless_zero(axis: F64, angle_rad: F64, *vectors: F64) -> tuple[F64, ...]:
    """Turn vectors about an axis; most of the time nothing turns, and that should cost nothing."""
    if not angle_rad.any():
        return vectors
    return tuple(turn_about(axis, angle_rad, v) for v in vectors)


def _across(heading_rad: float) -> F64:
    return np.array([[-np.sin(heading_rad), np.cos(heading_rad), 0.0]])


def _ramp(roll_rad: float, pitch_rad: float) -> F64:
    """Return the ramp's rotation: roll about X (left side up), then pitch about Y (nose down)."""
    roll_axis, pitch_axis = np.eye(3)[:1], np.eye(3)[1:2]
    rolled = turn_about(roll_axis, np.array([roll_rad]), np.eye(3))
    return turn_about(pitch_axis, np.array([pitch_rad]), rolled).T


def _tyre(axle: AxleBuild, side: Side) -> Tyre:
    """Return the nominal tyre: from a little outside the flange inward, twice for duals."""
    flange = axle.track_m / 2.0
    ends = (
        axle.y_m + side.sign * (flange + 0.05),
        axle.y_m + side.sign * (flange - (0.65 if axle.dual else 0.30)),
    )
    return Tyre(axle.x_m, axle.radius_m, axle.radius_m, min(ends), max(ends))
