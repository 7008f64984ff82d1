"""Tie rod, drag link, relay rod and stops against linkages that are closed by a root finder."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.corrections.drag_link import DragLink, correct_by_drag_link
from ingest.geometry.corrections.lever import Lever
from ingest.geometry.corrections.relay_rod import RelayRod, correct_by_relay_rod
from ingest.geometry.corrections.steering_stop import SteeringStop, correct_by_steering_stop
from ingest.geometry.corrections.thread import Thread
from ingest.geometry.corrections.tie_rod import TieRod, correct_by_tie_rod
from ingest.geometry.corrections.wanted import Quantity, Wanted

DEG = math.pi / 180
INCH = 0.0254
FINE = 1e-9
THREAD = Thread((0.0015, 0.0015), FINE)
small = st.floats(-1.0, 1.0)
radii = st.floats(0.12, 0.30)
leans = st.floats(-25.0, 25.0)


def wanted(quantity, measured_deg, target_deg, side=None):
    measured = Measured.of(measured_deg * DEG, 0.01 * DEG, source="test")
    return Wanted(quantity, 1, measured, target_deg * DEG, side)


def turned(vector, angle):
    """Rotate counter-clockwise as seen from above."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([c * vector[0] - s * vector[1], s * vector[0] + c * vector[1]])


class SteerAxle:
    """Two knuckles on kingpins 1.7 m apart, their arms fixed to the wheels, in plan."""

    def __init__(self, radius, lean, ahead, toe_rad):
        self.kingpin = {s: np.array([0.0, s.sign * 0.85]) for s in Side}
        forward = math.cos(lean) if ahead else -math.cos(lean)
        self.arm = {}
        for side in Side:
            now = radius * np.array([forward, -side.sign * math.sin(lean)])
            self.arm[side] = turned(now, side.sign * toe_rad / 2)  # as at no toe

    def rod_m(self, left_toe, right_toe):
        toe = {Side.LEFT: left_toe, Side.RIGHT: right_toe}
        joint = [self.kingpin[s] + turned(self.arm[s], -s.sign * toe[s]) for s in Side]
        return float(np.linalg.norm(joint[0] - joint[1]))


@given(small, small, radii, leans, st.booleans())
@settings(max_examples=80, deadline=None)
def test_the_tie_rod_closes_at_the_wanted_toe(measured, target, radius, lean, ahead):
    axle = SteerAxle(radius, lean * DEG, ahead, measured * DEG)
    rod = TieRod(Lever(radius, lean * DEG), ahead, THREAD)
    (step,) = correct_by_tie_rod(wanted(Quantity.TOTAL_TOE, measured, target), rod).steps
    new_m = axle.rod_m(measured * DEG / 2, measured * DEG / 2) + step.length_m
    toe = optimize.brentq(lambda t: axle.rod_m(t / 2, t / 2) - new_m, -5 * DEG, 5 * DEG, xtol=1e-14)
    assert toe == pytest.approx(target * DEG, abs=1e-10)


@pytest.mark.parametrize("ahead", [True, False])
def test_more_toe_in_shortens_a_rod_ahead_and_lengthens_one_behind(ahead):
    rod = TieRod(Lever(0.18), ahead, THREAD)
    (step,) = correct_by_tie_rod(wanted(Quantity.TOTAL_TOE, 0.0, 0.2), rod).steps
    assert step.action == ("shorten" if ahead else "lengthen")


@pytest.mark.parametrize(
    ("pitch_m", "radius_m", "per_turn_deg"),
    [(INCH / 12, 7.0 * INCH, 1.36419), (0.0015, 0.180, 0.95493)],
)
def test_a_turn_of_a_rod_with_opposite_threads(pitch_m, radius_m, per_turn_deg):
    """Twice the pitch over the arm's length in a turn; worked by hand, since no published figure
    was found. The quotient is an angle's sine or arc to a part in 10^4."""
    rod = TieRod(Lever(radius_m), False, Thread((pitch_m, pitch_m)))
    assert rod.toe_change_rad(2 * pitch_m) / DEG == pytest.approx(per_turn_deg, rel=1e-4)
    ask = wanted(Quantity.TOTAL_TOE, 0.0, per_turn_deg)
    (step,) = correct_by_tie_rod(ask, rod).steps
    assert step.turn_rad / math.tau == pytest.approx(1.0, rel=1e-4)


@pytest.mark.parametrize("held", list(Side))
@pytest.mark.parametrize("ahead", [True, False])
@pytest.mark.parametrize("target_deg", [0.4, -0.4])
def test_the_wheel_on_the_drag_link_stays_and_the_other_takes_it_all(held, ahead, target_deg):
    axle = SteerAxle(0.2, 8 * DEG, ahead, 0.0)
    rod = TieRod(Lever(0.2, 8 * DEG), ahead, THREAD, held)
    found = correct_by_tie_rod(wanted(Quantity.TOTAL_TOE, 0.0, target_deg), rod)
    new_m = axle.rod_m(0.0, 0.0) + found.steps[0].length_m

    def gap(toe):
        return axle.rod_m(*((0.0, toe) if held is Side.LEFT else (toe, 0.0))) - new_m

    toe = optimize.brentq(gap, -5 * DEG, 5 * DEG, xtol=1e-14)
    assert toe == pytest.approx(target_deg * DEG, abs=2e-5)
    way = "toe-in" if toe > 0 else "toe-out"
    mean_heading = -held.other.sign * toe / 2
    steered = "left" if mean_heading > 0 else "right"
    assert f"the {held.other} wheel alone goes towards {way}, by 0.40 degrees" in found.also[0]
    assert f"steer 0.20 degrees further to the {steered}" in found.also[0]


@given(st.floats(-30, 30), st.floats(12, 30), radii, leans, st.booleans())
@settings(max_examples=60, deadline=None)
def test_the_drag_link_straightens_the_steering_wheel(off, ratio, radius, lean, pushes):
    """Side view: the drop arm hangs on the gear's shaft, the link runs along x to a joint that
    the straight road wheels hold still. The link really swings; that costs next to nothing."""
    link = DragLink(Lever(radius, lean * DEG), ratio, pushes, THREAD)
    (step,) = correct_by_drag_link(wanted(Quantity.STEERING_WHEEL, off, 0.0), link).steps
    direction = 1.0 if pushes else -1.0

    def end(steering_wheel):
        angle = lean * DEG + (steering_wheel - off * DEG) / ratio
        return radius * np.array([direction * math.sin(angle), -math.cos(angle)])

    held = end(off * DEG) + np.array([1.0, 0.0])
    length_m = 1.0 + step.length_m
    found = optimize.brentq(
        lambda w: np.linalg.norm(end(w) - held) - length_m, -3.0, 3.0, xtol=1e-14
    )
    assert found == pytest.approx(0.0, abs=0.1 * DEG)
    assert abs(found) < 0.002 * abs(off * DEG) + 1e-9


@given(small, small, radii, leans, st.booleans())
@settings(max_examples=60, deadline=None)
def test_the_relay_rod_makes_the_axles_parallel(measured, target, radius, lean, pushes):
    """Plan view: the rod runs along x from a held joint to the second axle's steering arm. Pushed
    to steer left, the joint goes away from the held end as the wheel turns to the left."""
    rod = RelayRod(Lever(radius, lean * DEG), pushes, THREAD)
    ask = wanted(Quantity.STEER_PARALLELISM, measured, target)
    (step,) = correct_by_relay_rod(ask, rod).steps
    away = 1.0 if pushes else -1.0

    def joint(heading):
        angle = lean * DEG + heading - measured * DEG
        return radius * np.array([away * math.sin(angle), math.cos(angle)])

    held = joint(measured * DEG) - np.array([1.5, 0.0])
    found = optimize.brentq(
        lambda h: np.linalg.norm(joint(h) - held) - 1.5 - step.length_m, -0.2, 0.2, xtol=1e-14
    )
    assert found == pytest.approx(target * DEG, abs=0.01 * DEG)


@given(st.floats(25, 45), st.floats(-5, 5), st.floats(0.08, 0.25))
@settings(max_examples=60, deadline=None)
def test_the_stop_bolt_meets_its_pad_at_the_wanted_lock(measured, change, radius):
    """The bolt turns with the knuckle about the steering axis at the origin; its pad lies along
    the ray that the knuckle's reference line reaches at the present lock."""
    ask = wanted(Quantity.LOCK_ANGLE, measured, measured + change, Side.LEFT)
    stop = SteeringStop(radius, Side.LEFT, THREAD)
    (step,) = correct_by_steering_stop(ask, stop).steps
    pad = turned(np.array([1.0, 0.0]), measured * DEG)

    def height(steer):
        tip = turned(np.array([radius, step.length_m]), steer)
        return pad[0] * tip[1] - pad[1] * tip[0]

    found = optimize.brentq(height, (measured - 20) * DEG, (measured + 20) * DEG, xtol=1e-14)
    assert found == pytest.approx((measured + change) * DEG, abs=1e-10)
    if step.action != "leave":
        assert step.action == ("screw out" if change < 0 else "screw in")


def test_a_lever_near_dead_centre_is_refused():
    rod = TieRod(Lever(0.05, 79.9 * DEG), True, THREAD)
    with pytest.raises(MeasurementRefused, match="square to its rod") as refused:
        correct_by_tie_rod(wanted(Quantity.TOTAL_TOE, 0.0, 1.0), rod)
    assert refused.value.code == "dead-centre"
    with pytest.raises(MeasurementRefused):
        Lever(0.05).swung_rad(0.06)
