"""The truth under the names of results, on a vehicle whose figures are worked by hand."""

import math

import numpy as np
import pytest

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.adjusting.adjusters import Adjusters
from ingest.simulator.adjusting.axle import Place
from ingest.simulator.adjusting.parts import Arm, DragLink, SteeringStop, Threads
from ingest.simulator.truth_by_topic import Frame, truth_by_topic
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelBuild

LINK = DragLink(Threads((0.0015,)), Arm(0.21), 20.0, left_pushes=True)
STOP = SteeringStop(Threads((0.0015,)), 0.18, Side.LEFT)


def wheels(total_toe_deg, heading_deg, **steering):
    half = total_toe_deg / 2
    return [
        WheelBuild(0.4 * DEG, (half - side.sign * heading_deg) * DEG, **steering) for side in Side
    ]


def vehicle(pitch_deg=0.0, straight_deg=0.3):
    steering = {"caster_rad": 4 * DEG, "sai_rad": 6 * DEG}
    steer = AxleBuild(
        1, 5.0, 0.0, 2.0, 0.5, 0.0, *wheels(0.2, straight_deg, **steering), steered=True
    )
    drive = AxleBuild(2, 0.0, 0.01, 2.0, 0.5, 0.1 * DEG, *wheels(0.0, 0.1))
    return Vehicle("invented", (steer, drive), ramp_pitch_rad=pitch_deg * DEG)


FRAME = Frame((1, 2), (1, 2), 2, drive=(2,), steer=(1,))


def test_headings_are_told_against_the_line_through_the_axles_middles():
    known = truth_by_topic(vehicle(), [FRAME], 0.0)
    line = math.atan2(-0.01, 5.0) / DEG  # the rear middle lies 10 mm to the left
    assert known["vehicle/thrust"] / DEG == pytest.approx(0.1 - line, abs=1e-9)
    assert known["axle/1/both/heading"] / DEG == pytest.approx(0.3 - line, abs=1e-9)
    assert known["axle/1/both/scrub"] / DEG == pytest.approx(0.2, abs=1e-9)
    assert known["axle/1/both/total-toe"] / DEG == pytest.approx(0.2, abs=1e-9)
    assert known["axle/2/both/lateral-offset"] == pytest.approx(0.0, abs=1e-12)
    assert "vehicle/parallelism" not in known


def test_a_pin_takes_the_place_of_the_foremost_axle():
    frame = Frame((1, 2), (1, 2), 2, pin_m=(7.0, 0.2, 0.5), leads=False)
    known = truth_by_topic(vehicle(), [frame], 0.0)
    line = math.atan2(0.2 - 0.01, 7.0) / DEG
    assert known["axle/2/both/heading"] / DEG == pytest.approx(0.1 - line, abs=1e-9)
    assert "vehicle/thrust" not in known


def test_caster_is_told_to_gravity_or_to_the_ramp():
    pitched = vehicle(pitch_deg=0.5)  # nose down leans the axis forward: less caster
    to_gravity = truth_by_topic(pitched, [FRAME], 0.0)["axle/1/left/caster"] / DEG
    to_ramp = truth_by_topic(pitched, [FRAME], 0.0, to_ramp=True)["axle/1/left/caster"] / DEG
    assert to_gravity == pytest.approx(3.5, abs=1e-9)
    assert to_ramp == pytest.approx(4.0, abs=1e-9)


def test_the_steering_wheel_stands_off_by_what_the_wheels_steer_and_the_link_moves_it():
    # Wheels that steer h to the left with the gear in its middle: to straighten them the steering
    # wheel goes to the right by h times ratio times knuckle's arm over drop arm (0.19 to 0.23 m).
    bay = vehicle()
    adjusters = Adjusters(bay, {1: [LINK, STOP]}, np.random.default_rng(2), lambda: 1.0)
    known = truth_by_topic(bay, [FRAME], 0.0, adjusters)
    heading = known["axle/1/both/heading"] / DEG
    wheel = known["vehicle/steering-wheel"] / DEG
    assert -heading * 20 * 0.23 / 0.2 < wheel < -heading * 20 * 0.19 / 0.22
    step = adjusters.turn(Place(1, "drag link"), -1.0)  # it pulls the wheels back to the right
    then = truth_by_topic(bay, [FRAME], 1.0 + step.wait_s, adjusters)
    moved = then["vehicle/steering-wheel"] / DEG - wheel
    assert moved == pytest.approx(0.0015 / 0.21 * 20 / DEG, rel=0.05)
    assert then["axle/1/both/heading"] < known["axle/1/both/heading"]


def test_a_longer_stop_bolt_leaves_less_lock():
    bay = vehicle(straight_deg=0.0)
    adjusters = Adjusters(bay, {1: [LINK, STOP]}, np.random.default_rng(2), lambda: 1.0)
    before = truth_by_topic(bay, [FRAME], 0.0, adjusters)["axle/1/left/lock-angle"]
    adjusters.turn(Place(1, "stop bolt", Side.LEFT), 2.0)
    after = truth_by_topic(bay, [FRAME], 9.0, adjusters)["axle/1/left/lock-angle"]
    assert 39.0 < before / DEG < 47.0
    assert after - before == pytest.approx(-math.atan(0.003 / 0.18), rel=0.03)
