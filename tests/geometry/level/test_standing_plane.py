"""Heights, plane and what they do to caster and camber.

Sources: the levelling net of Ghilani, Adjustment Computations (2010), example 12.6, for the
heights; SciPy's rotations for the exact frame; US Army TM 5-4210 manuals for the frame angle.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.level.heights import BarLaid, Point, Staff, adjust_heights
from ingest.geometry.level.plane import caster_to_frame, plane_through, to_plane

CORNERS = (
    Point("1L", 5.2, 1.0),
    Point("1R", 5.2, -1.0),
    Point("2L", 0.0, 0.9),
    Point("2R", 0.0, -0.9),
)
LONG, ACROSS = 0.003, -0.002


def staffs(points=CORNERS, set_up="A", line=1.5, off=(0.0,) * 4, sigma=0.0003):
    return [
        Staff(set_up, p.id, line - (LONG * p.x_m + ACROSS * p.y_m) - d, sigma)
        for p, d in zip(points, off, strict=True)
    ]


def test_a_published_levelling_net_is_adjusted_as_published():
    # Differences and deviations of example 12.6 as bars laid 1 m long; A is the datum there.
    net = [
        ("A", "B", 10.509, 6.0),
        ("B", "C", 5.360, 4.0),
        ("C", "D", -8.523, 5.0),
        ("D", "A", -7.348, 3.0),
        ("B", "D", -3.167, 4.0),
        ("A", "C", 15.881, 12.0),
    ]
    points = [Point(name, float(i), 0.0) for i, name in enumerate("ABCD")]
    # A rise read by a level between two points is one set-up with the sigma shared by both staffs.
    read = []
    for i, (start, end, rise_m, sigma_mm) in enumerate(net):
        sigma_m = sigma_mm * 1e-3 / math.sqrt(2.0)
        read += [Staff(str(i), start, 20.0, sigma_m), Staff(str(i), end, 20.0 - rise_m, sigma_m)]
    found = adjust_heights(points, read, [])
    assert found.height_m[1:] - found.height_m[0] + 437.596 == pytest.approx(
        [448.1087, 453.4685, 444.9436], abs=5e-5
    )
    assert (found.dof, found.chi2) == (3, pytest.approx(1.27212, abs=5e-4))
    spread = found.covariance_m2
    over_a = [math.sqrt(spread[i, i] + spread[0, 0] - 2 * spread[i, 0]) for i in (1, 2, 3)]
    # The book scales by S0 = 0.6512 (2.30, 2.64, 1.76 mm); ours stand on the stated sigmas.
    assert np.array(over_a) * 1e3 * 0.6512 == pytest.approx([2.30, 2.64, 1.76], abs=0.006)


def test_a_plane_is_found_from_one_set_up_of_a_level():
    plane = plane_through(adjust_heights(CORNERS, staffs(), []), "x")
    assert plane.lengthwise.value == pytest.approx(LONG, abs=1e-12)
    assert plane.crosswise.value == pytest.approx(ACROSS, abs=1e-12)
    assert np.abs(plane.off_m).max() < 1e-12


def test_a_bar_turned_end_for_end_leaves_its_own_error_out():
    error, bars = math.radians(0.37), []
    for a, b in ((0, 1), (2, 3), (0, 2), (1, 3)):
        start, end = CORNERS[a], CORNERS[b]
        rise = LONG * (end.x_m - start.x_m) + ACROSS * (end.y_m - start.y_m)
        slope = math.atan2(rise, math.hypot(end.x_m - start.x_m, end.y_m - start.y_m))
        bars.append(BarLaid(start.id, end.id, slope + error, -slope + error, 1e-4))
    plane = plane_through(adjust_heights(CORNERS, [], bars), "x")
    assert plane.lengthwise.value == pytest.approx(LONG, abs=1e-12)
    assert plane.crosswise.value == pytest.approx(ACROSS, abs=1e-12)


def test_plates_under_one_axle_tilt_the_plane():
    # 50 mm under one axle of a 5.2 m wheelbase are 0.55 deg (worked by hand).
    raised = [Point(p.id, p.x_m, p.y_m, 0.05 if p.id[0] == "1" else 0.0) for p in CORNERS]
    plane = plane_through(adjust_heights(raised, staffs(), []), "x")
    rise = plane.lengthwise.value - LONG
    assert math.degrees(math.atan(rise)) == pytest.approx(0.55, abs=0.005)


def test_the_uncertainty_of_the_slopes_is_that_of_repeated_surveys():
    told = plane_through(adjust_heights(CORNERS, staffs(), []), "x")
    rng = np.random.default_rng(7)
    drawn = []
    for noise in 0.0003 * rng.standard_normal((800, 4)):
        plane = plane_through(adjust_heights(CORNERS, staffs(off=noise), []), "x")
        drawn.append((plane.lengthwise.value, plane.crosswise.value))
    seen = np.std(drawn, axis=0)
    assert told.lengthwise.u == pytest.approx(seen[0], rel=0.08)
    assert told.crosswise.u == pytest.approx(seen[1], rel=0.08)


def test_the_uncertainty_of_bars_is_that_of_repeated_layings():
    pairs, sigma = ((0, 1), (2, 3), (0, 2), (1, 3)), math.radians(0.005)

    def laid(noise):
        bars = [
            BarLaid(CORNERS[a].id, CORNERS[b].id, *map(float, two), sigma)
            for (a, b), two in zip(pairs, noise, strict=True)
        ]
        return plane_through(adjust_heights(CORNERS, [], bars), "x")

    told = laid(np.zeros((4, 2)))
    rng = np.random.default_rng(8)
    planes = [laid(noise) for noise in sigma * rng.standard_normal((800, 4, 2))]
    for slope in ("lengthwise", "crosswise"):
        seen = np.std([getattr(plane, slope).value for plane in planes])
        assert getattr(told, slope).u == pytest.approx(seen, rel=0.08)


def test_one_survey_is_one_source_however_often_it_is_read():
    one, again = (plane_through(adjust_heights(CORNERS, staffs(), []), "x") for _ in range(2))
    assert (one.crosswise - again.crosswise).u == 0.0
    assert one.crosswise.u_shared == one.crosswise.u


def bay(along, across):
    name = "level"
    return plane_through(
        adjust_heights(
            CORNERS,
            [Staff("A", p.id, -along * p.x_m - across * p.y_m, 0.001) for p in CORNERS],
            [],
        ),
        name,
    )


@pytest.mark.parametrize("side", list(Side))
def test_angles_in_the_plane_are_those_of_a_vehicle_on_a_level_one(side):
    # Tilt a whole wheel with SciPy and hold what is read against what it was before.
    sign, caster, sai, camber = side.sign, 4.0, 7.0, 0.6
    axis = np.array([-math.tan(math.radians(caster)), -sign * math.tan(math.radians(sai)), 1.0])
    spin = np.array([0.0, sign * math.cos(math.radians(camber)), -math.sin(math.radians(camber))])
    plane = bay(0.012, -0.008)
    up = plane.normal / np.linalg.norm(plane.normal)
    ahead = np.array([1.0, 0.0, 0.0]) - up[0] * up
    ahead /= np.linalg.norm(ahead)
    tilted = Rotation.from_matrix(np.stack([ahead, np.cross(up, ahead), up], axis=1))
    k, o = tilted.apply(axis), tilted.apply(spin)
    heading_off = math.atan2(o[0], sign * o[1])
    read = [math.atan(-k[0] / k[2]), -math.asin(o[2]), math.atan(-sign * k[1] / k[2])]
    told = to_plane(side, *(Measured.exact(v) for v in read), plane)
    assert math.degrees(told.caster.value) == pytest.approx(caster, abs=1e-9)
    assert math.degrees(told.sai.value) == pytest.approx(sai, abs=1e-9)
    # The tilted wheel's toe, 0.005 deg, is not carried along: camber is right to its product.
    assert abs(heading_off) < 2e-4
    assert math.degrees(told.camber.value) == pytest.approx(camber, abs=2e-4)


def test_a_bay_that_rises_forward_lowers_the_caster_and_left_high_leans_left_wheels_out():
    caster, camber, sai = (Measured.exact(math.radians(v)) for v in (4.0, 0.5, 6.0))
    told = to_plane(Side.LEFT, caster, camber, sai, bay(0.01, 0.005))
    assert told.caster.value - caster.value == pytest.approx(-0.01, abs=1e-4)
    assert told.camber.value - camber.value == pytest.approx(0.005, abs=1e-4)
    assert told.sai.value - sai.value == pytest.approx(-0.005, abs=1e-4)
    assert told.included.value == pytest.approx(camber.value + sai.value, abs=1e-4)


def test_the_level_is_common_to_both_sides():
    plane = bay(0.0, 0.0)
    exact = [Measured.exact(v) for v in (0.07, 0.0, 0.1)]
    left, right = (to_plane(side, *exact, plane) for side in Side)
    assert left.caster.u == pytest.approx(plane.lengthwise.u, rel=1e-3)
    # What is left of the difference is the crosswise slope times caster and SAI.
    assert (left.caster - right.caster).u < 0.05 * left.caster.u
    assert (left.camber - right.camber).u == pytest.approx(2.0 * plane.crosswise.u, rel=1e-3)


@pytest.mark.parametrize(("specified", "frame", "measured"), [(1.0, 1.0, 0.0), (3.5, -0.5, 4.0)])
def test_caster_to_the_frame_is_what_the_manuals_say(specified, frame, measured):
    # Frame angle positive front down; to measure: specified less frame angle (+1 and +1: 0).
    told = caster_to_frame(Measured.exact(measured), Measured.exact(frame))
    assert told.value == specified


@pytest.mark.parametrize(
    ("read", "bars", "code"),
    [
        (staffs()[:3], [], "apart"),
        (staffs()[:2] + staffs(set_up="B")[2:], [], "apart"),
        (
            staffs() + staffs(set_up="B", off=(0.02, 0.0, 0.0, 0.0)),
            [],
            "disagree",
        ),
        (
            staffs(),
            [
                BarLaid("1L", "1R", 0.002, -0.002, 1e-4),
                BarLaid("2L", "2R", 0.002, 0.002, 1e-4),
            ],
            "bar",
        ),
    ],
)
def test_readings_that_tell_no_heights_are_refused(read, bars, code):
    with pytest.raises(MeasurementRefused) as caught:
        adjust_heights(CORNERS, read, bars)
    assert caught.value.code == code


def test_points_in_a_line_span_no_plane():
    line = (Point("a", 0.0, 1.0), Point("b", 2.0, 1.0), Point("c", 5.0, 1.0))
    heights = adjust_heights(line, staffs(line, off=(0.0,) * 3), [])
    with pytest.raises(MeasurementRefused, match="both sides"):
        plane_through(heights, "x")
