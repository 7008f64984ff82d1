"""The clamp's error carried to the settled wheel, against the exact wheel of conftest."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calibration.measured import Measured, covariance
from ingest.core.frames import Side
from ingest.geometry.carry import ShaftReading, settled_wheel
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import Turn
from ingest.geometry.wheels import total_toe

STOPS = np.array([0.0, 95.0, 190.0, 280.0])


def exactly(value):
    return Measured.exact(float(value))


def shaft(read, *, u_rad=0.0, name=""):
    """One exact reading, with a noise of its own per channel where ``u_rad`` is given."""
    values = (read.incl_x_rad[0], read.incl_y_rad[0], read.rotation_rad[0], read.azimuth_rad[0])
    made = [Measured.of(float(v), u_rad, source=f"{name} {i}") for i, v in enumerate(values)]
    return ShaftReading(*made, sightline_elevation=exactly(0.0))


def clamp_of(wheel):
    read = wheel.read(STOPS)
    found = fit_runout(
        Turn(read.rotation_rad, read.incl_y_rad, read.incl_x_rad, read.azimuth_rad),
        sigma_rad=1e-6,
    )
    return found.estimates.angle, found.estimates.phase


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.sampled_from([1, -1]),
    st.floats(-5, 5),
    st.floats(-3, 3),
    st.floats(0.1, 3),
    st.floats(-180, 180),
    st.floats(-180, 180),
    st.floats(-1.5, 1.5),
    st.floats(-1, 1),
)
def test_a_settled_wheel_is_read_exactly_at_any_angle(
    wheel_in_space, side, camber, toe, runout, at, spin, swing, gives
):
    turned = wheel_in_space(side, camber + gives, toe - gives, runout, at)
    angle, phase = clamp_of(turned)
    standing = wheel_in_space(side, camber, toe, runout, at)
    where = Side.LEFT if side == 1 else Side.RIGHT
    found = settled_wheel(shaft(standing.read([spin], swing)), angle, phase, where)
    assert math.degrees(found.camber.value) == pytest.approx(camber, abs=1e-8)
    off = math.degrees(found.heading.value) - (-side * toe + side * 90.0)
    assert abs(math.remainder(off, 360.0)) < 1e-8


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("rise_m", [0.1, -0.05])
def test_a_sightline_that_rises_is_levelled(wheel_in_space, side, rise_m):
    wheel = wheel_in_space(side, -2.0, 0.4, 1.2, 25.0, line_m=2.0, rise_m=rise_m)
    reading = shaft(wheel.read([140.0], 1.5))
    clamp = clamp_of(wheel_in_space(side, -2.0, 0.4, 1.2, 25.0))
    where = Side.LEFT if side == 1 else Side.RIGHT
    expected = side * 90.0 - side * 0.4
    risen = replace(reading, sightline_elevation=exactly(math.atan2(rise_m, 2.0)))
    found = settled_wheel(risen, *clamp, where).heading
    assert math.degrees(found.value) == pytest.approx(expected, abs=1e-8)
    level = settled_wheel(reading, *clamp, where).heading
    assert abs(math.degrees(level.value) - expected) > 0.02


def test_unknown_heights_of_the_ports_count_by_the_tilt_across_them(wheel_in_space):
    # Square across, an elevation error turns the projection by the forward axis' elevation.
    wheel = wheel_in_space(1, 0.0, 0.0, 0.5, 25.0)
    reading = shaft(wheel.read([140.0], 2.0))
    open_height = replace(
        reading, sightline_elevation=Measured.of(0.0, 0.005, source="port heights")
    )
    found = settled_wheel(open_height, *clamp_of(wheel), Side.LEFT).heading
    exact = settled_wheel(reading, *clamp_of(wheel), Side.LEFT).heading
    added = math.sqrt(found.u**2 - exact.u**2)
    assert added == pytest.approx(0.005 * math.sin(math.radians(2.0)), rel=0.02)


def test_total_toe_is_the_sum_of_both_toes(wheel_in_space):
    headings = {}
    for side, toe in ((1, 0.11), (-1, 0.05)):
        wheel = wheel_in_space(side, 0.5, toe, 0.7, 33.0)
        where = Side.LEFT if side == 1 else Side.RIGHT
        settled = settled_wheel(shaft(wheel.read([17.0])), *clamp_of(wheel), where)
        headings[side] = settled.heading
    toe = total_toe(headings[1], headings[-1])
    # ISO 8855:2011, 7.1.7: total static toe is the sum over the axle, toe-in positive.
    assert math.degrees(toe.value) == pytest.approx(0.16, abs=1e-8)


def test_a_shared_zero_of_both_heads_keeps_its_correlation(wheel_in_space):
    left, right = (
        Measured.of(0.0, 0.01, source="zero of one reference", shared=True) + value
        for value in (math.pi / 2, -math.pi / 2)
    )
    assert total_toe(left, right).u == pytest.approx(0.0, abs=1e-15)
    assert covariance([left, right])[0, 1] == pytest.approx(1e-4)


def test_uncertainty_agrees_with_monte_carlo(wheel_in_space):
    # JCGM 101's way: draw the inputs, look at the outputs. Seeded.
    rng = np.random.default_rng(11)
    wheel = wheel_in_space(1, 2.0, 0.3, 1.5, 50.0)
    angle, phase = clamp_of(wheel)
    angle, phase = (
        Measured.of(each.value, u, source=name)
        for each, u, name in ((angle, 2e-4, "angle"), (phase, 5e-3, "phase"))
    )
    read = wheel.read([70.0], 0.5)
    u = 3e-4
    found = settled_wheel(shaft(read, u_rad=u, name="reading"), angle, phase, Side.LEFT)
    drawn = []
    for _ in range(4000):
        noisy = [
            exactly(v + u * rng.standard_normal())
            for v in (
                read.incl_x_rad[0],
                read.incl_y_rad[0],
                read.rotation_rad[0],
                read.azimuth_rad[0],
            )
        ]
        clamp = (
            exactly(angle.value + angle.u * rng.standard_normal()),
            exactly(phase.value + phase.u * rng.standard_normal()),
        )
        reading = ShaftReading(*noisy, sightline_elevation=exactly(0.0))
        settled = settled_wheel(reading, *clamp, Side.LEFT)
        drawn.append((settled.camber.value, settled.heading.value))
    spread = np.std(np.array(drawn), axis=0, ddof=1)
    # The standard deviation of 4000 draws is itself known to 1.1 %.
    assert found.camber.u == pytest.approx(spread[0], rel=0.05)
    assert found.heading.u == pytest.approx(spread[1], rel=0.05)
