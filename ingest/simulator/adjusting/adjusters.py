"""What a person does to the adjusters, and what the vehicle's true angles then do.

Each act is planned on the vehicle's tracks a moment ahead, as all that is done to a rig is, and
takes a few seconds, so that heads on the wheels see it come.
"""

import copy
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from ingest.core.frames import Side
from ingest.simulator.adjusting.axle import AdjustableAxle, Place, WedgeSeat
from ingest.simulator.adjusting.ends import EccentricEnd, PinEnd
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.adjusting.parts import Part
from ingest.simulator.adjusting.screw import Screw, lengthens
from ingest.simulator.adjusting.shelf import Pack
from ingest.simulator.adjusting.steering import AxlePose
from ingest.simulator.motion import Track
from ingest.simulator.technician import Step
from ingest.simulator.vectors import turn_about
from ingest.simulator.vehicle import Vehicle, WheelAt

A = TypeVar("A", Screw, EccentricEnd, Pack, PinEnd, WedgeSeat)

NOTICED = 1e-12
STRAIGHT_STEPS = 8


@dataclass(frozen=True, slots=True)
class HandPace:
    """How fast the person adjusts, seconds."""

    per_turn_s: float = 1.5
    least_s: float = 1.0
    most_s: float = 6.0
    change_s: float = 4.0
    """To change shims, a pin or a wedge."""
    lead_s: float = 0.15


class Adjusters:
    """All adjusters of a vehicle.

    ``seized``: those that will not move. ``clock`` gives the rig's time. Every act returns a step:
    wait for it. Acts raise ``Stuck`` or ``NotAtHand``, and then nothing has moved.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        parts: Mapping[int, Sequence[Part]],
        random: np.random.Generator,
        clock: Callable[[], float],
        seized: AbstractSet[Place] = frozenset(),
        pace: HandPace | None = None,
    ) -> None:
        self.vehicle = vehicle
        self.axles = {
            number: AdjustableAxle(vehicle, number, of_axle, random)
            for number, of_axle in parts.items()
        }
        self.seized = seized
        self._clock = clock
        self._pace = HandPace() if pace is None else pace

    @property
    def places(self) -> tuple[Place, ...]:
        """All that can be adjusted, or could if it were not seized."""
        return tuple(place for axle in self.axles.values() for place in axle.places)

    def turn(self, place: Place, turns: float) -> Step:
        """Turn a threaded part, longer (a bolt: further out) positive."""
        took_s = abs(turns) * self._pace.per_turn_s
        return self._act(place, Screw, lambda screw: screw.turn(turns), took_s)

    def screw(self, place: Place, turns: float, *, clockwise: bool, seen_from: str) -> Step:
        """Turn a threaded part one way, as seen from somewhere."""
        longer = lengthens(self._adjuster(place, Screw).hand, clockwise, seen_from)
        return self.turn(place, turns if longer else -turns)

    def swing(self, place: Place, forward_rad: float) -> Step:
        """Turn an eccentric so that its end of the axle goes forward (or, below 0, rearward)."""
        return self._act(place, EccentricEnd, lambda pivot: pivot.swing(forward_rad))

    def swing_seen(
        self, place: Place, angle_rad: float, *, clockwise: bool, seen_from: str
    ) -> Step:
        """Turn an eccentric one way, as seen from somewhere."""
        hand = self._axle(place).eccentric_hand
        if hand is None:
            raise NotAtHand(f"nobody says which way the {place} turns")
        forward = lengthens(hand, clockwise, seen_from)
        return self.swing(place, angle_rad if forward else -angle_rad)

    def fit(self, place: Place, sizes_m: Sequence[float]) -> Step:
        """Make a shim pack of shims of those stamped thicknesses."""
        return self._act(place, Pack, lambda pack: pack.fit(sizes_m), self._pace.change_s)

    def set(self, place: Place, position: str) -> Step:
        """Fit a bar pin in another position."""
        return self._act(place, PinEnd, lambda pin: pin.set(position), self._pace.change_s)

    def wedge(self, place: Place, wedge_rad: float) -> Step:
        """Fit one wedge under a spring, thick end to the rear positive; 0 takes it out."""
        return self._act(place, WedgeSeat, lambda seat: seat.fit(wedge_rad), self._pace.change_s)

    def steering_wheel_rad(self, axle: int, at_s: float, straight_rad: float = 0.0) -> float:
        """Return how far to the left the steering wheel stands while the wheels of a steer axle,
        by the mean of both, point in a direction (in the vehicle's frame, left positive)."""
        adjustable = self.axles[axle]
        linkage, pose = adjustable.linkage, adjustable.pose()
        if linkage is None or linkage.holder is None:
            raise NotAtHand(f"no drag link holds axle {axle}")
        held = linkage.turned(pose)[linkage.held]
        return linkage.steering_wheel(pose, held + self._steer_to(axle, at_s, straight_rad))

    def lock_knuckle_rad(self, axle: int, side: Side) -> float:
        """Return how far a driver can turn the inner knuckle before its stop acts, as counted by
        the technician's own steering of that axle; without a sign."""
        adjustable = self.axles[axle]
        assert adjustable.linkage is not None
        linked = adjustable.linkage.turned(adjustable.pose())[side]
        return adjustable.stops[side].knuckle_rad() - side.sign * linked

    def lock_angle_rad(self, axle: int, side: Side, at_s: float) -> float:
        """Return how far the inner wheel points aside at its stop, steered to a side."""
        further = side.sign * self.lock_knuckle_rad(axle, side)
        return side.sign * self._heading(WheelAt(axle, side), at_s, further)

    def _steer_to(self, axle: int, at_s: float, straight_rad: float) -> float:
        """Return the turn of both knuckles that brings the mean heading of an axle there."""
        steer = 0.0
        for _ in range(STRAIGHT_STEPS):
            headings = [self._heading(WheelAt(axle, side), at_s, steer) for side in Side]
            steer += straight_rad - sum(headings) / 2.0
        return steer

    def _heading(self, wheel: WheelAt, at_s: float, further_rad: float) -> float:
        """Return where a wheel points with its knuckle turned further, left positive."""
        now = np.array([at_s])
        left = self.vehicle.wheel_pose(wheel, now).left @ self.vehicle.ramp
        axis = self.vehicle.steering_axis(wheel, now)
        x, y, _ = turn_about(axis, np.array([further_rad]), left)[0]
        return float(np.arctan2(-x, y))

    def _axle(self, place: Place) -> AdjustableAxle:
        if place.axle not in self.axles:
            raise NotAtHand(f"there is no {place}")
        return self.axles[place.axle]

    def _adjuster(self, place: Place, kind: type[A]) -> A:
        return _of(self._axle(place), place, kind)

    def _act(
        self, place: Place, kind: type[A], change: Callable[[A], None], took_s: float = 0.0
    ) -> Step:
        """Do it on a copy, and let the vehicle follow where the linkage can."""
        if place in self.seized:
            raise Stuck(f"the {place} is seized: it does not move")
        tried = copy.deepcopy(self._axle(place))
        try:
            change(_of(tried, place, kind))
            pose = tried.pose()
            knuckles = None if tried.linkage is None else tried.linkage.turned(pose)
        except Stuck as error:
            raise Stuck(f"the {place} does not go there: {error}") from error
        except NotAtHand as error:
            raise NotAtHand(f"the {place}: {error}") from error
        self.axles[place.axle] = tried
        took_s = min(max(took_s, self._pace.least_s), self._pace.most_s)
        wait_s = self._follow(place.axle, pose, knuckles or {}, took_s)
        return Step(f"adjusted the {place}", wait_s)

    def _follow(
        self, number: int, pose: AxlePose, knuckles: Mapping[Side, float], took_s: float
    ) -> float:
        """Move the tracks of an axle to where it stands now, all together; return the wait."""
        axle = self.vehicle.axle_state[number]
        goals: list[tuple[Track, float]] = [
            (axle.turned, pose.turned_rad),
            (axle.ahead, pose.ahead_m),
            (axle.aside, pose.aside_m),
        ]
        for side in Side:
            wheel = self.vehicle.wheel_state[WheelAt(number, side)]
            goals += [(wheel.tip, pose.tips_rad[side])]
            goals += [(wheel.linked, knuckles[side])] if side in knuckles else []
        now_s = self._clock()
        start_s = max(now_s + self._pace.lead_s, *(track.end_s for track, _ in goals))
        for track, goal in goals:
            if abs(goal - track.last) > NOTICED:
                track.move(start_s, goal, took_s)
        return start_s + took_s - now_s


def _of(axle: AdjustableAxle, place: Place, kind: type[A]) -> A:
    found = axle.adjuster(place)
    if not isinstance(found, kind):
        raise NotAtHand(f"that cannot be done to the {place}")
    return found
