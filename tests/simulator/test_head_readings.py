"""What a perfect head reads in space, against formulae and rotations from elsewhere."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.simulator.clamp import STUB_M, Clamping, draw_clamping
from ingest.simulator.fleet import rigid_8x4, tractor_and_trailer
from ingest.simulator.head import Head, HeadDesign, HeadPose, Port, port_m, sight
from ingest.simulator.obstacles import Box
from ingest.simulator.rig import Rig
from ingest.simulator.streams import stream
from ingest.simulator.swing import Pendulum
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt, WheelBuild

LEFT, RIGHT = WheelAt(1, Side.LEFT), WheelAt(1, Side.RIGHT)
STRAIGHT = WheelBuild(0.0, 0.0)
SQUARE = Clamping()
LATER = np.array([10.0])
PIVOT_PORT = Port(0.0, STUB_M)
"""A port at the head's pivot."""


def head(number: int = 1, **design: object) -> Head:
    return Head(HeadDesign(HeadId(f"{number:016x}"), **design))  # type: ignore[arg-type]


def vehicle(
    left: WheelBuild = STRAIGHT,
    right: WheelBuild = STRAIGHT,
    beams: tuple[Box, ...] = (),
    bare: bool = False,
) -> Vehicle:
    """One axle of 2 m; ``bare`` takes the tyres out of the sightlines."""
    one = Vehicle("test", (AxleBuild(1, 0.0, 0.0, 2.0, 0.5, 0.0, left, right),), beams)
    one.tyres = () if bare else one.tyres
    return one


def two_heads(
    vehicle: Vehicle, clamping: Clamping = SQUARE, **design: object
) -> tuple[Rig, Head, Head]:
    one, other = head(1, **design), head(2, **design)
    rig = Rig(vehicle, (one, other))
    rig.mount(one, LEFT, clamping, -1e6)
    rig.mount(other, RIGHT, SQUARE, -1e6)
    return rig, one, other


def read(rig: Rig, head: Head, channel: Channel, t_s: np.ndarray = LATER) -> np.ndarray:
    return rig.true_channels(head, t_s)[ROW[channel]]


def full_turn(rig: Rig, wheel: WheelAt, stops: int) -> tuple[np.ndarray, np.ndarray]:
    """Turn a wheel by even stops; return the wheel's turn and a time at each."""
    angles = 2.0 * np.pi * np.arange(stops) / stops
    for number, angle in enumerate(angles[1:], start=1):
        rig.vehicle.wheel_state[wheel].spin.move(10.0 * number, float(angle), 1.0)
    return angles, 10.0 * np.arange(stops) + 5.0


@pytest.mark.parametrize("side", list(Side))
def test_a_true_level_wheel_reads_zero_and_looks_straight_across(side: Side) -> None:
    rig, one, other = two_heads(vehicle())
    mine = one if side is Side.LEFT else other
    for channel in (Channel.INCL_X, Channel.INCL_Y, Channel.ROTATION):
        assert read(rig, mine, channel)[0] == pytest.approx(0.0, abs=1e-12)
    cross = read(rig, mine, Channel.AZIMUTH_CROSS)[0]
    assert cross / DEG == pytest.approx(-side.sign * 90.0, abs=1e-9)


@pytest.mark.parametrize("side", list(Side))
def test_camber_shows_as_elevation_of_the_left_axis_with_the_sign_of_the_side(side: Side) -> None:
    # ISO 8855: top out is positive on both sides. On the left wheel the outward axis then
    # points down, and the head's left axis with it; on the right the left axis points up.
    built = WheelBuild(1.5 * DEG, 0.0)
    rig, one, other = two_heads(vehicle(built, built))
    mine = one if side is Side.LEFT else other
    assert read(rig, mine, Channel.INCL_Y)[0] / DEG == pytest.approx(-side.sign * 1.5, abs=1e-9)


@pytest.mark.parametrize("side", list(Side))
def test_toe_turns_the_sightline_in_the_heads_frame(side: Side) -> None:
    # Wheel heading = -side toe; the line across keeps its bearing when ports are at the pivots
    # of equally toed wheels, so azimuth = bearing - heading.
    built = WheelBuild(0.0, 0.4 * DEG)
    rig, one, other = two_heads(vehicle(built, built, bare=True), cross=PIVOT_PORT)
    mine = one if side is Side.LEFT else other
    expected = -side.sign * 90.0 + side.sign * 0.4
    assert read(rig, mine, Channel.AZIMUTH_CROSS)[0] / DEG == pytest.approx(expected, abs=1e-9)


def test_the_encoder_follows_a_forward_turn_on_both_sides() -> None:
    for wheel in (LEFT, RIGHT):
        rig, one, other = two_heads(vehicle())
        rig.vehicle.wheel_state[wheel].spin.move(0.0, 50 * DEG, 1.0)
        mine, still = (one, other) if wheel is LEFT else (other, one)
        assert read(rig, mine, Channel.ROTATION)[0] / DEG == pytest.approx(50.0, abs=1e-9)
        assert read(rig, still, Channel.ROTATION)[0] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("camber_deg", [-4.0, 0.0, 5.0])
def test_run_out_makes_a_pure_first_harmonic_of_amplitude_sin_e_cos_theta(
    camber_deg: float,
) -> None:
    # The third component of a vector at a constant angle e to an axis of elevation theta:
    # sin theta cos e + cos theta sin e cos(angle round the axis).
    runout = 3 * DEG
    built = WheelBuild(camber_deg * DEG, 0.2 * DEG)
    clamping = replace(draw_clamping(stream(1, "x")), runout_rad=runout)
    rig, one, _ = two_heads(vehicle(built), clamping)
    _, times = full_turn(rig, LEFT, 24)
    spectrum = np.fft.rfft(np.sin(read(rig, one, Channel.INCL_Y, times))) / 24
    theta = -camber_deg * DEG
    assert spectrum[0].real == pytest.approx(np.cos(runout) * np.sin(theta), abs=1e-12)
    assert 2 * abs(spectrum[1]) == pytest.approx(np.sin(runout) * np.cos(theta), abs=1e-12)
    assert np.abs(spectrum[2:]).max() < 1e-12


def test_the_phase_of_the_harmonic_is_where_the_clamp_leans() -> None:
    # Leaning upward (90 deg from forward) at spin zero, the shaft is highest at spin zero.
    clamping = Clamping(runout_rad=1 * DEG, runout_at_rad=90 * DEG)
    rig, one, _ = two_heads(vehicle(), clamping)
    angles, times = full_turn(rig, LEFT, 12)
    expected = np.arcsin(np.sin(1 * DEG) * np.cos(angles))
    assert read(rig, one, Channel.INCL_Y, times) == pytest.approx(expected, abs=1e-12)


def test_the_mean_azimuth_of_a_full_turn_is_bearing_less_heading() -> None:
    # With ports at the pivots: the pivot's mean is on the spin axis, at the stub times cos e.
    runout, toe = 1 * DEG, 0.35 * DEG
    clamping = Clamping(runout_rad=runout, runout_at_rad=0.7, eccentricity_m=0.002)
    rig, one, _ = two_heads(vehicle(WheelBuild(0.0, toe), bare=True), clamping, cross=PIVOT_PORT)
    _, times = full_turn(rig, LEFT, 36)
    outward = np.array([np.sin(toe), np.cos(toe)])
    mean_port = np.array([0.0, 1.0]) + STUB_M * np.cos(runout) * outward
    to_partner = np.array([0.0, -1.0 - STUB_M]) - mean_port
    bearing = np.arctan2(to_partner[1], to_partner[0])
    azimuth = read(rig, one, Channel.AZIMUTH_CROSS, times)
    assert azimuth.mean() / DEG == pytest.approx((bearing + toe) / DEG, abs=2e-5)
    assert np.ptp(azimuth) / DEG > 1.5, "the turn itself moves the sightline"


def test_eccentricity_moves_the_sightline_and_not_the_elevation() -> None:
    clamping = Clamping(eccentricity_m=0.002)
    rig, one, _ = two_heads(vehicle(bare=True), clamping, cross=PIVOT_PORT)
    _, times = full_turn(rig, LEFT, 24)
    assert np.ptp(read(rig, one, Channel.INCL_Y, times)) < 1e-12
    length = 2.0 + 2.0 * STUB_M
    swing = np.ptp(read(rig, one, Channel.AZIMUTH_CROSS, times)) / 2.0
    assert swing == pytest.approx(np.arctan(0.002 / length), rel=1e-6)


def test_swinging_changes_neither_camber_nor_the_turn_that_the_channels_tell_together() -> None:
    # phi = rotation - asin(sin incl_x / cos incl_y) while the shaft keeps its heading.
    rig, one, _ = two_heads(vehicle(WheelBuild(2 * DEG, 0.0)), Clamping(1 * DEG, 0.4))
    rig.vehicle.wheel_state[LEFT].spin.move(0.0, 1.0, 1.0)
    still = read(rig, one, Channel.INCL_Y)[0]
    quiet = read(rig, one, Channel.ROTATION)[0]
    one.swing.knock(20.0, 5 * DEG)
    t_s = np.linspace(20.0, 20.6, 40)
    assert read(rig, one, Channel.INCL_Y, t_s) == pytest.approx(still, abs=1e-12)
    incl_x = read(rig, one, Channel.INCL_X, t_s)
    assert np.ptp(incl_x) > 2 * DEG
    lean = np.arcsin(np.sin(incl_x) / np.cos(still))
    assert read(rig, one, Channel.ROTATION, t_s) - lean == pytest.approx(quiet, abs=1e-12)


def test_a_positive_hang_leans_the_top_forward_and_the_nose_down() -> None:
    one = Head(HeadDesign(HeadId("1" * 16)), pendulum=Pendulum(hang_rad=1 * DEG))
    rig = Rig(vehicle(), (one,))
    rig.mount(one, LEFT, SQUARE, -1e6)
    pose = rig.pose(one, LATER)
    turn = Rotation.from_rotvec(1 * DEG * np.array([0.0, 1.0, 0.0]))
    assert pose.up[0] == pytest.approx(turn.apply([0.0, 0.0, 1.0]), abs=1e-12)
    assert read(rig, one, Channel.INCL_X)[0] / DEG == pytest.approx(-1.0, abs=1e-9)


@pytest.mark.parametrize("side", list(Side))
def test_the_gravity_vectors_of_a_fixed_head_lie_on_a_plane_that_tells_the_camber(
    side: Side,
) -> None:
    built, wheel = WheelBuild(2.5 * DEG, 0.3 * DEG), WheelAt(1, side)
    one = head(1, fixed=True, three_axis=True)
    rig = Rig(vehicle(built, built), (one,))
    rig.mount(one, wheel, Clamping(1.2 * DEG, 0.5, encoder_at_rad=0.9), -1e6)
    _, times = full_turn(rig, wheel, 7)
    rows = [ROW[c] for c in (Channel.INCL_X, Channel.INCL_Y, Channel.INCL_Z)]
    gravity = np.sin(rig.true_channels(one, times)[rows]).T
    assert np.linalg.norm(gravity, axis=1) == pytest.approx(1.0, abs=1e-12)
    _, sizes, axes = np.linalg.svd(gravity - gravity.mean(axis=0))
    assert sizes[2] < 1e-12 < sizes[1]
    normal = axes[2] * np.sign(axes[2, 1])
    offset = float(normal @ gravity.mean(axis=0))
    assert np.arcsin(offset) / DEG == pytest.approx(-side.sign * 2.5, abs=1e-9)
    assert np.isnan(read(rig, one, Channel.ROTATION)).all(), "a fixed head has no encoder"


def test_a_locked_head_turns_with_its_shaft_as_a_rigid_body() -> None:
    rig, one, _ = two_heads(vehicle(WheelBuild(1 * DEG, 0.2 * DEG)), Clamping(1 * DEG, 0.3))
    before = rig.pose(one, np.array([5.0]))
    rig.lock(one, 6.0)
    rig.vehicle.wheel_state[LEFT].spin.move(7.0, 25 * DEG, 1.0)
    axis = rig.vehicle.wheel_pose(LEFT, LATER).left[0]
    turn = Rotation.from_rotvec(25 * DEG * axis)
    after = rig.pose(one, LATER)
    for name in ("forward", "left", "up"):
        expected = turn.apply(getattr(before, name)[0])
        assert getattr(after, name)[0] == pytest.approx(expected, abs=1e-9)
    assert after.rotation_rad[0] == pytest.approx(before.rotation_rad[0], abs=1e-9)
    rig.unlock(one, 20.0)
    assert abs(read(rig, one, Channel.INCL_X, np.array([60.0]))[0]) < 1e-9, "it hangs again"


@pytest.mark.parametrize("side", list(Side))
def test_a_port_lies_forward_and_outward_of_the_hub_in_the_wheels_frame(side: Side) -> None:
    toe, wheel = 0.8 * DEG, WheelAt(1, side)
    built = WheelBuild(0.0, toe)
    rig, one, other = two_heads(vehicle(built, built))
    mine = one if side is Side.LEFT else other
    heading = -side.sign * toe
    forward = np.array([np.cos(heading), np.sin(heading), 0.0])
    outward = side.sign * np.array([-np.sin(heading), np.cos(heading), 0.0])
    expected = np.array([0.0, side.sign * 1.0, 0.5]) + 0.6 * forward + 0.28 * outward
    found = port_m(rig.pose(mine, LATER), Port(0.6, 0.28), wheel.side)
    assert found[0] == pytest.approx(expected, abs=1e-12)


def test_a_port_on_an_arm_sees_past_the_tyre_that_blocks_the_hub() -> None:
    rig, one, _ = two_heads(vehicle(), cross=Port(0.0, 0.28))
    assert np.isnan(read(rig, one, Channel.AZIMUTH_CROSS)).all(), "straight into its own tyre"
    rig, one, _ = two_heads(vehicle(), cross=Port(0.6, 0.28))
    assert np.isfinite(read(rig, one, Channel.AZIMUTH_CROSS)).all()


def test_a_beam_in_the_way_leaves_no_value() -> None:
    beam = Box("beam", (0.5, -0.2, 0.4), (0.7, 0.2, 0.6))
    rig, one, other = two_heads(vehicle(beams=(beam,)))
    assert np.isnan(read(rig, one, Channel.AZIMUTH_CROSS)).all()
    assert np.isnan(read(rig, other, Channel.AZIMUTH_CROSS)).all()
    assert np.isfinite(read(rig, one, Channel.INCL_Y)).all()


def test_no_partner_leaves_no_value_and_a_dismounted_one_none_from_then_on() -> None:
    rig, one, other = two_heads(vehicle())
    rig.dismount(other, 20.0)
    cross = read(rig, one, Channel.AZIMUTH_CROSS, np.array([19.0, 19.99, 20.0, 21.0]))
    assert np.isnan(cross).tolist() == [False, False, True, True]
    assert np.isnan(read(rig, other, Channel.AZIMUTH_CROSS, np.array([21.0]))).all()


@pytest.mark.parametrize(
    ("aside_deg", "above_deg", "seen"),
    [(29, 0, True), (31, 0, False), (-29, 9, True), (-31, 9, False), (0, 11, False), (0, -9, True)],
)
def test_a_sight_sensor_sees_what_is_in_its_view(
    aside_deg: float, above_deg: float, seen: bool
) -> None:
    axes = np.eye(3)[:, None, :]
    pose = HeadPose(np.zeros((1, 3)), axes[0], axes[1], axes[2], np.zeros(1))
    azimuth, height = (-90.0 + aside_deg) * DEG, above_deg * DEG
    level = np.cos(height)
    way = np.array([[level * np.cos(azimuth), level * np.sin(azimuth), np.sin(height)]])
    found = sight(pose, np.zeros((1, 3)), 3.0 * way, (-np.pi / 2.0,))[0]
    assert found == pytest.approx(azimuth) if seen else np.isnan(found)


def test_two_heads_on_one_wheel_are_refused() -> None:
    rig, _, other = two_heads(vehicle())
    with pytest.raises(ValueError, match="another head sits on axle 1 left"):
        rig.mount(other, LEFT, SQUARE, 20.0)


def mounted_everywhere(vehicle: Vehicle) -> tuple[Rig, dict[WheelAt, Head]]:
    heads = {wheel: head(i, three_axis=True) for i, wheel in enumerate(vehicle.wheels, start=1)}
    rig = Rig(vehicle, tuple(heads.values()))
    for wheel, one in heads.items():
        rig.mount(one, wheel, draw_clamping(stream(2, str(wheel))), -1e6)
    return rig, heads


def test_the_flagship_has_every_cross_line_but_the_rearmost() -> None:
    rig, heads = mounted_everywhere(rigid_8x4(3))
    for wheel, one in heads.items():
        seen = np.isfinite(read(rig, one, Channel.AZIMUTH_CROSS)[0])
        assert seen == (wheel.axle != 4), wheel
        assert np.isfinite(read(rig, one, Channel.AZIMUTH_TRACK)[0]), wheel


def test_the_tri_axle_trailer_hides_two_cross_lines_and_the_line_to_the_tractor() -> None:
    rig, heads = mounted_everywhere(tractor_and_trailer(3))
    for wheel, one in heads.items():
        assert np.isfinite(read(rig, one, Channel.AZIMUTH_CROSS)[0]) == (wheel.axle < 4), wheel
        assert np.isfinite(read(rig, one, Channel.AZIMUTH_TRACK)[0]) == (wheel.axle != 3), wheel


def test_two_heads_see_each_other_along_one_line() -> None:
    # Both ends of a sightline are one line: bearing at one end = bearing at the other + 180.
    rig, heads = mounted_everywhere(rigid_8x4(8))
    one, other = heads[WheelAt(1, Side.LEFT)], heads[WheelAt(1, Side.RIGHT)]
    bearings = []
    for mine in (one, other):
        pose = rig.pose(mine, LATER)
        azimuth = read(rig, mine, Channel.AZIMUTH_CROSS)[0]
        way = np.cos(azimuth) * pose.forward[0] + np.sin(azimuth) * pose.left[0]
        bearings.append(np.arctan2(way[1], way[0]))
    turned = (bearings[0] - bearings[1] + np.pi) % (2 * np.pi)
    assert min(turned, 2 * np.pi - turned) / DEG < 0.02


def test_the_plate_encoder_reads_only_while_the_wheel_stands_on_it() -> None:
    rig, heads = mounted_everywhere(rigid_8x4(3))
    wheel = WheelAt(1, Side.LEFT)
    rig.vehicle.wheel_state[wheel].steer.move(0.0, 10 * DEG, 1.0)
    axis = rig.vehicle.steering_axis(wheel)[0]
    steer = read(rig, heads[wheel], Channel.STEER)[0]
    assert steer == pytest.approx(10 * DEG * axis[2], abs=1e-12)
    assert np.isnan(read(rig, heads[WheelAt(3, Side.LEFT)], Channel.STEER)).all()
    rig.vehicle.axle_state[1].lift.move(20.0, 0.06, 1.0)
    assert np.isnan(read(rig, heads[wheel], Channel.STEER, np.array([30.0]))).all()


def test_readings_do_not_depend_on_how_the_times_are_cut() -> None:
    rig, heads = mounted_everywhere(rigid_8x4(3))
    wheel = WheelAt(2, Side.RIGHT)
    mine = heads[wheel]
    rig.vehicle.wheel_state[wheel].spin.move(1.0, 2.0, 1.0)
    mine.swing.knock(2.0, 1 * DEG)
    rig.dismount(heads[WheelAt(2, Side.LEFT)], 2.5)
    rig.lock(mine, 3.0)
    rig.unlock(mine, 3.5)
    t_s = np.arange(0.0, 5.0, 0.01)
    whole = rig.true_channels(mine, t_s)
    pieces = [rig.true_channels(mine, piece) for piece in np.split(t_s, [1, 2, 50, 120, 333])]
    assert whole.shape == (len(CHANNELS), t_s.size)
    assert np.hstack(pieces) == pytest.approx(whole, abs=1e-12, nan_ok=True)


def test_a_drawn_clamp_stays_within_its_stated_ranges() -> None:
    drawn = [draw_clamping(stream(seed, "clamp")) for seed in range(200)]
    runouts = np.array([c.runout_rad for c in drawn]) / DEG
    offsets = np.array([c.eccentricity_m for c in drawn]) * 1e3
    assert runouts.min() >= 0.2
    assert runouts.max() <= 1.5
    assert np.ptp(runouts) > 1.0
    assert offsets.min() >= 0.0
    assert offsets.max() <= 3.0
    assert np.ptp(offsets) > 2.5
