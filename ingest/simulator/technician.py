"""A person at the vehicle: clamps heads on, turns wheels, presses buttons, lets axles down.

Everything is planned on the rig's tracks a moment ahead, so that what the heads send is as
smooth as a real hand; the waiting between is left to whoever runs the plan.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.clamp import draw_clamping
from ingest.simulator.head import Head
from ingest.simulator.rig import Rig
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt

LIFT_M = 0.06
SLOPPY_DEG = 3.0
HANG_DEG = 0.05
"""How much camber and toe change when the load is off a wheel (1 sigma)."""

ROLL_DEG = 0.2
"""How far from even the two ends of an axle are lifted (1 sigma)."""

CREEP_DEG, CREEP_S, CREEP_RAMP = 0.06, 8.0, 0.1
"""How far from where they come to rest the wheels of a soft suspension are let down (1 sigma), how
long they creep there, and the share of that in which they pick up speed."""

KNOCK_DEG = {"jack": 0.5, "turn": 0.3}
"""How far at most a head swings after its axle was moved, and after its wheel was."""

TURN_RAD = 2.0 * np.pi
PUSH_RAMP = 0.15
"""Share of a push's time in which the vehicle picks up speed, and in which it is stopped; of a
steering's likewise."""
LEAST_STEER_S = 0.5


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast the person works, seconds."""

    mount_s: float = 1.2
    jack_s: float = 0.8
    move_s: float = 0.9
    dwell_s: float = 2.2
    through_s: float = 8.0
    push_m_per_s: float = 0.4
    steer_deg_per_s: float = 3.0
    lower_s: float = 0.8
    settle_s: float = 2.6
    lead_s: float = 0.15
    """Plans begin so much later than now."""


@dataclass(frozen=True, slots=True)
class Step:
    """Something that has been planned: wait ``wait_s`` for it to be over."""

    what: str
    wait_s: float


class Technician:
    """Does things to a rig. Each method is a generator of steps; wait between them.

    ``clock`` gives the rig's time. ``settle_sigma_rad``: how much camber and toe scatter each
    time a wheel is let down. ``seat``: how far in or out a clamp sits from mounting to mounting
    (1 sigma, m), and what draws it.
    """

    def __init__(
        self,
        rig: Rig,
        random: np.random.Generator,
        clock: Callable[[], float],
        pace: Pace | None = None,
        settle_sigma_rad: float = 0.0,
        seat: tuple[np.random.Generator, float] | None = None,
    ) -> None:
        self._rig = rig
        self._random = random
        self._clock = clock
        self._pace = Pace() if pace is None else pace
        self._settle_sigma_rad = settle_sigma_rad
        self._seat = seat

    def _soon_s(self) -> float:
        return self._clock() + self._pace.lead_s

    def mount(self, head: Head, wheel: WheelAt) -> Step:
        """Clamp a head on, as squarely as it happens to go."""
        clamping = draw_clamping(self._random)
        if self._seat is not None:
            random, sigma_m = self._seat
            stub_m = clamping.stub_m + sigma_m * float(random.standard_normal())
            clamping = replace(clamping, stub_m=stub_m)
        start_s = self._soon_s()
        self._rig.mount(head, wheel, clamping, start_s)
        if head.worn is not None:
            around = float(self._random.uniform(-np.pi, np.pi))
            self._rig.slip(head, start_s + head.worn.after_s, head.worn.slips_rad, around)
        return Step("mounted", self._pace.mount_s)

    def dismount(self, head: Head) -> Step:
        """Take a head off."""
        self._rig.dismount(head, self._soon_s())
        return Step("dismounted", 0.2)

    def jack(self, axle: int) -> Step:
        """Lift an axle off its plates, not quite evenly, on stands; its wheels hang free."""
        start_s, took_s = self._soon_s(), self._pace.jack_s
        state = self._rig.vehicle.axle_state[axle]
        state.lift.move(start_s, LIFT_M, took_s)
        state.roll.move(start_s, self._chance(ROLL_DEG * DEG), took_s)
        self._give(axle, start_s, took_s, HANG_DEG * DEG)
        return Step("lifted", took_s + self._pace.lead_s)

    def lower(self, axle: int) -> Step:
        """Let an axle down; its wheels settle a little differently each time."""
        start_s, took_s = self._soon_s(), self._pace.lower_s
        state = self._rig.vehicle.axle_state[axle]
        state.lift.move(start_s, 0.0, took_s)
        state.roll.move(start_s, 0.0, took_s)
        self._settle(axle, start_s, took_s)
        return Step("settled", took_s + self._pace.lead_s + self._pace.settle_s)

    def _give(
        self, axle: int, start_s: float, took_s: float, sigma_rad: float, *, creep: bool = False
    ) -> None:
        """Move the wheels of an axle to a chance camber and toe beside what is built."""
        for wheel, state in self._rig.vehicle.wheel_state.items():
            if wheel.axle == axle:
                goals = self._chance(sigma_rad), self._chance(sigma_rad)
                goals = goals[0] + self._leans(wheel), goals[1]
                for give, goal in zip((state.camber_give, state.toe_give), goals, strict=True):
                    begin_s = max(start_s, give.end_s)
                    if creep:
                        give.move(begin_s, goal + self._chance(CREEP_DEG * DEG), took_s)
                        give.move(give.end_s, goal, CREEP_S, ramp=CREEP_RAMP)
                    else:
                        give.move(begin_s, goal, took_s)
                self._knock(wheel, start_s + took_s, "jack")

    def _settle(self, axle: int, start_s: float, took_s: float) -> None:
        """Let the wheels of an axle come to rest; soft ones scatter more, and creep there."""
        soft = self._rig.vehicle.axles[axle].softness
        sigma_rad = self._settle_sigma_rad * soft
        self._give(axle, start_s, took_s, sigma_rad, creep=soft > 1.0)

    def _leans(self, wheel: WheelAt) -> float:
        """Return how far a wheel leans on a loose bearing this time."""
        play = self._rig.vehicle.axles[wheel.axle].wheel(wheel.side).play_rad
        return float(self._random.uniform(-play, play)) if play else 0.0

    def _chance(self, sigma: float) -> float:
        return float(self._random.normal(0.0, 1.0)) * sigma

    def _knock(self, wheel: WheelAt, at_s: float, by: str) -> None:
        self._rig.knock(wheel, at_s, float(self._random.uniform(-1.0, 1.0)) * KNOCK_DEG[by] * DEG)

    def jounce(self, axle: int) -> Step:
        """Rock an axle on its springs, until it sits as it runs: heads at its wheels swing."""
        start_s = self._soon_s()
        for wheel in self._rig.vehicle.wheel_state:
            if wheel.axle == axle:
                way = float(self._random.choice([-1.0, 1.0]))
                self._rig.knock(wheel, start_s, way * KNOCK_DEG["jack"] * DEG)
        return Step("jounced", self._pace.lead_s + self._pace.settle_s)

    def stops(self, wheel: WheelAt, count: int) -> Iterator[Step]:
        """Turn a wheel once round in even stops, never quite even; the last closes the turn.

        Ask for the next step when the one before is over.
        """
        spin = self._rig.vehicle.wheel_state[wheel].spin
        start, pace = spin.last, self._pace
        yield Step("stop 1", pace.dwell_s)
        for number in range(1, count + 1):
            sloppy = float(self._random.uniform(-SLOPPY_DEG, SLOPPY_DEG)) * DEG
            goal = start + TURN_RAD * number / count + sloppy
            spin.move(self._soon_s(), goal, pace.move_s)
            self._knock(wheel, spin.end_s, "turn")
            yield Step(f"stop {number + 1}", pace.lead_s + pace.move_s + pace.dwell_s)

    def through(self, wheel: WheelAt) -> Step:
        """Turn a wheel a little more than once round, slowly and without a stop."""
        spin, pace = self._rig.vehicle.wheel_state[wheel].spin, self._pace
        goal = spin.last + TURN_RAD + float(self._random.uniform(5.0, 15.0)) * DEG
        spin.move(self._soon_s(), goal, pace.through_s, ramp=0.1)
        self._knock(wheel, spin.end_s, "turn")
        return Step("turned through", pace.lead_s + pace.through_s + 0.3)

    def push(self, distance_m: float) -> Step:
        """Push the whole vehicle, steering straight; all its wheels turn, and settle anew.

        Sightlines keep their bearings, but for what clamps that sit off centre do to them.
        """
        vehicle, pace = self._rig.vehicle, self._pace
        start_s, took_s = self._soon_s(), abs(distance_m) / pace.push_m_per_s
        vehicle.travel.move(start_s, vehicle.travel.last + distance_m, took_s, ramp=PUSH_RAMP)
        for wheel, state in vehicle.wheel_state.items():
            turn_rad = distance_m / vehicle.axles[wheel.axle].radius_m
            state.spin.move(start_s, state.spin.last + turn_rad, took_s, ramp=PUSH_RAMP)
            self._knock(wheel, start_s, "turn")
        for axle in vehicle.axles:
            self._settle(axle, start_s + took_s, pace.lower_s)
        wait_s = pace.lead_s + took_s + pace.lower_s + pace.settle_s
        return Step("pushed", wait_s)

    def steer(self, axle: int, inner_rad: float) -> Step:
        """Steer an axle on its turn plates, left positive, the brake held; 0 is straight ahead.

        ``inner_rad`` is the inner wheel's turn about its steering axis; the outer one turns by
        less: cot(outer) = cot(inner) + kingpin spacing over wheelbase.
        """
        vehicle, pace, start_s = self._rig.vehicle, self._pace, self._soon_s()
        tracks = {s: vehicle.wheel_state[WheelAt(axle, s)].steer for s in Side}
        goals = {s: _steered(vehicle, vehicle.axles[axle], s, inner_rad) for s in Side}
        furthest_rad = max(abs(goals[side] - track.last) for side, track in tracks.items())
        took_s = max(furthest_rad / (pace.steer_deg_per_s * DEG * (1.0 - PUSH_RAMP)), LEAST_STEER_S)
        for side, track in tracks.items():
            track.move(start_s, goals[side], took_s, ramp=PUSH_RAMP)
        return Step("steered", pace.lead_s + took_s)

    def sweep(self, axle: int, inner_rad: float, right_rad: float | None = None) -> Iterator[Step]:
        """Steer to the left and back, to the right and back; ask for a step when one is over.

        ``right_rad``: how far to the right, where that is not as far as to the left.
        """
        for goal in (inner_rad, 0.0, -(inner_rad if right_rad is None else right_rad), 0.0):
            step = self.steer(axle, goal)
            yield Step("swept", step.wait_s + self._pace.dwell_s)

    def slip(self, head: Head, angle_rad: float) -> None:
        """Knock a head's clamp askew by some angle, to a chance side."""
        around = float(self._random.uniform(-np.pi, np.pi))
        self._rig.slip(head, self._soon_s(), angle_rad, around)


def _steered(vehicle: Vehicle, axle: AxleBuild, side: Side, inner_rad: float) -> float:
    """Return how far a wheel turns about its steering axis while the inner one turns so far."""
    if side.sign * inner_rad >= 0.0:
        return inner_rad
    rear = [each.x_m for each in vehicle.axles.values() if not each.steered]
    wheelbase_m = axle.x_m - float(np.mean(rear))
    spacing_m = axle.track_m - 2.0 * axle.kingpin_inset_m
    outer = np.arctan(1.0 / (1.0 / np.tan(abs(inner_rad)) + spacing_m / wheelbase_m))
    return float(np.sign(inner_rad) * outer)
