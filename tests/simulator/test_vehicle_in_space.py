"""The simulated vehicle against ISO 8855's signs and SciPy's rotations."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.fleet import VEHICLES, rigid_8x4, tractor_and_trailer
from ingest.simulator.truth import vehicle_truth, wheel_truth
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt, WheelBuild

NOW = np.array([0.0])
STRAIGHT = WheelBuild(0.0, 0.0)


def one_axle(
    left: WheelBuild = STRAIGHT,
    right: WheelBuild = STRAIGHT,
    roll_deg: float = 0.0,
    pitch_deg: float = 0.0,
) -> Vehicle:
    axle = AxleBuild(1, 0.0, 0.0, 2.0, 0.5, 0.0, left, right, steered=True)
    return Vehicle("test", (axle,), (), roll_deg * DEG, pitch_deg * DEG)


@pytest.mark.parametrize("side", list(Side))
def test_positive_camber_leans_the_top_outward_on_both_sides(side: Side) -> None:
    # ISO 8855: camber positive when the top leans outward.
    wheel = WheelAt(1, side)
    vehicle = one_axle(WheelBuild(2 * DEG, 0.0), WheelBuild(2 * DEG, 0.0))
    top = vehicle.wheel_pose(wheel, NOW).upward[0]
    assert side.sign * top[1] == pytest.approx(np.sin(2 * DEG), abs=1e-12)
    assert wheel_truth(vehicle, wheel, 0.0).camber_rad == pytest.approx(2 * DEG, abs=1e-12)


@pytest.mark.parametrize("side", list(Side))
def test_positive_toe_points_the_front_to_the_centre_line_on_both_sides(side: Side) -> None:
    # ISO 8855:2011 7.1.6: static toe, toe-in positive.
    wheel = WheelAt(1, side)
    vehicle = one_axle(WheelBuild(0.0, 1 * DEG), WheelBuild(0.0, 1 * DEG))
    front = vehicle.wheel_pose(wheel, NOW).forward[0]
    assert -side.sign * front[1] == pytest.approx(np.sin(1 * DEG), abs=1e-12)
    assert front[0] > 0.99
    assert wheel_truth(vehicle, wheel, 0.0).toe_rad == pytest.approx(1 * DEG, abs=1e-12)


@pytest.mark.parametrize("side", list(Side))
def test_turning_a_wheel_forward_is_a_rotation_about_its_left_axis(side: Side) -> None:
    wheel = WheelAt(1, side)
    vehicle = one_axle(WheelBuild(3 * DEG, 2 * DEG), WheelBuild(-1 * DEG, 0.5 * DEG))
    before = vehicle.wheel_pose(wheel, NOW)
    vehicle.wheel_state[wheel].spin.move(1.0, 70 * DEG, 1.0)
    after = vehicle.wheel_pose(wheel, np.array([3.0]))
    turn = Rotation.from_rotvec(70 * DEG * before.left[0])
    for axis in ("forward", "left", "upward"):
        expected = turn.apply(getattr(before, axis)[0])
        assert getattr(after, axis)[0] == pytest.approx(expected, abs=1e-12)
    assert vehicle.wheel_pose(wheel, np.array([3.0])).upward[0, 0] > 0.5, "the top goes forward"


def test_the_axle_heading_is_positive_to_the_left_and_half_the_toe_difference() -> None:
    # Toe left +0.10, right -0.06 deg: axle heading -0.08 (to the right), total toe +0.04.
    vehicle = one_axle(WheelBuild(0.0, 0.10 * DEG), WheelBuild(0.0, -0.06 * DEG))
    axle = vehicle_truth(vehicle, 0.0).axles[1]
    assert axle.heading_rad / DEG == pytest.approx(-0.08, abs=1e-12)
    assert axle.total_toe_rad / DEG == pytest.approx(0.04, abs=1e-12)


def test_a_ramp_that_rolls_changes_camber_against_gravity_but_not_against_itself() -> None:
    vehicle = one_axle(roll_deg=0.5)
    truth = vehicle_truth(vehicle, 0.0).wheels
    left, right = truth[WheelAt(1, Side.LEFT)], truth[WheelAt(1, Side.RIGHT)]
    assert left.camber_rad / DEG == pytest.approx(-0.5, abs=1e-9), "left side up: top leans in"
    assert right.camber_rad / DEG == pytest.approx(0.5, abs=1e-9)
    assert left.camber_to_ramp_rad == pytest.approx(0.0, abs=1e-12)
    assert left.hub_m[2] > right.hub_m[2]


def test_a_ramp_is_turned_by_roll_then_pitch() -> None:
    vehicle = one_axle(roll_deg=1.5, pitch_deg=-2.0)
    expected = Rotation.from_euler("xy", [1.5, -2.0], degrees=True).as_matrix()
    assert vehicle.ramp == pytest.approx(expected, abs=1e-15)
    point = np.array([[1.0, 2.0, 3.0]])
    assert vehicle.to_vehicle(point @ expected.T) == pytest.approx(point, abs=1e-12)


# Exact turn of the knuckle about a steering axis along (-tan caster, -tan SAI, 1), left
# wheel (derived, not published): caster, SAI, camber straight ahead, yaw of the wheel, turn about
# the axis, camber and pitch of the wheel-fixed forward line there, all deg. The digits come
# from another program than the one under test.
SWEEPS = [
    (4.0, 6.0, 0.5, 20.0, 20.199346, 2.237081, 1.820717),
    (4.0, 6.0, 0.5, -20.0, -20.155352, -0.507102, -2.300773),
]


@pytest.mark.parametrize("row", SWEEPS)
@pytest.mark.parametrize("side", list(Side))
def test_steering_turns_the_wheel_exactly_about_its_steering_axis(
    row: tuple[float, ...], side: Side
) -> None:
    caster, sai, camber, yaw, turn, camber_there, pitch_there = row
    built = WheelBuild(camber * DEG, 0.0, caster * DEG, sai * DEG)
    wheel, vehicle = WheelAt(1, side), one_axle(built, built)
    mirrored = side.sign * turn  # a right wheel steered to the right mirrors a left to the left
    vehicle.wheel_state[wheel].steer.move(0.0, mirrored * DEG, 1.0)
    pose = vehicle.wheel_pose(wheel, np.array([2.0]))
    heading = np.arctan2(-pose.left[0, 0], pose.left[0, 1]) / DEG
    assert side.sign * heading == pytest.approx(yaw, abs=1e-5)
    found = wheel_truth(vehicle, wheel, 2.0).camber_rad / DEG
    assert found == pytest.approx(camber_there, abs=1e-5)
    assert np.arcsin(pose.forward[0, 2]) / DEG == pytest.approx(pitch_there, abs=1e-5)


def test_the_hub_keeps_its_distance_from_the_steering_axis() -> None:
    built = WheelBuild(0.5 * DEG, 0.1 * DEG, 4 * DEG, 7 * DEG)
    wheel, vehicle = WheelAt(1, Side.LEFT), one_axle(built, built)
    vehicle.wheel_state[wheel].steer.move(0.0, 20 * DEG, 1.0)
    hubs = vehicle.wheel_pose(wheel, np.array([-1.0, 0.4, 2.0])).hub_m
    kingpin = np.array([0.0, 1.0 - 0.25, 0.5])
    axis = np.array([-np.tan(4 * DEG), -np.tan(7 * DEG), 1.0])
    axis /= np.linalg.norm(axis)
    off = np.linalg.norm(np.cross(hubs - kingpin, axis), axis=1)
    assert np.ptp(off) < 1e-12
    assert hubs[2, 0] < -0.05, "a left hub moves back when steered to the left"
    expected = 20 * DEG * axis[2]
    assert vehicle.plate_turn(wheel, np.array([2.0]))[0] == pytest.approx(expected, abs=1e-12)


def test_an_unevenly_lifted_axle_rolls_as_a_rigid_body() -> None:
    vehicle = one_axle()
    vehicle.axle_state[1].lift.move(0.0, 0.06, 1.0)
    vehicle.axle_state[1].roll.move(0.0, 0.5 * DEG, 1.0)
    left = wheel_truth(vehicle, WheelAt(1, Side.LEFT), 2.0)
    right = wheel_truth(vehicle, WheelAt(1, Side.RIGHT), 2.0)
    assert left.hub_m[2] - right.hub_m[2] == pytest.approx(2.0 * np.sin(0.5 * DEG), abs=1e-12)
    assert (left.hub_m[2] + right.hub_m[2]) / 2 == pytest.approx(0.56, abs=1e-12)
    assert left.camber_rad == pytest.approx(-0.5 * DEG, abs=1e-12)
    assert right.camber_rad == pytest.approx(0.5 * DEG, abs=1e-12)
    assert not vehicle.stands(1, 2.0)
    assert vehicle.stands(1, -1.0)


def test_the_second_steer_axle_of_the_flagship_is_skewed_and_the_others_are_not() -> None:
    for seed in range(20):
        axles = vehicle_truth(rigid_8x4(seed), 0.0).axles
        assert 0.24 < abs(axles[2].heading_rad) / DEG < 0.46
        assert all(abs(axles[n].heading_rad) / DEG < 0.11 for n in (1, 3, 4))


def test_the_bent_trailer_beam_shows_in_its_camber() -> None:
    for seed in range(20):
        wheels = vehicle_truth(tractor_and_trailer(seed), 0.0).wheels
        mean = {
            axle: np.mean([wheels[WheelAt(axle, s)].camber_rad for s in Side]) / DEG
            for axle in (3, 4, 5)
        }
        assert mean[4] < -0.3 < min(mean[3], mean[5])


@pytest.mark.parametrize("name", list(VEHICLES))
def test_a_seed_draws_the_same_vehicle_again_and_another_draws_another(name: str) -> None:
    same, again, other = (vehicle_truth(VEHICLES[name](s), 0.0).wheels for s in (5, 5, 6))
    assert same == again
    assert all(same[wheel].camber_rad != other[wheel].camber_rad for wheel in same)
    assert all(same[wheel].toe_rad != other[wheel].toe_rad for wheel in same)
