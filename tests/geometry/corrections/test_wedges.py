"""Caster wedges against a pad that is tipped in space, and against trying every pair."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.corrections.camber import refer_camber
from ingest.geometry.corrections.wanted import Quantity, Wanted
from ingest.geometry.corrections.wedges import Wedges, correct_by_wedges, rise_m

DEG = math.pi / 180
INCH = 0.0254
HALVES = tuple(n / 2 * DEG for n in range(1, 9))
"""Half-degree steps from 1/2 to 4 degrees (NAVEDTRA 14050A)."""


def wanted(left, right, left_target=3.5, right_target=4.0):
    """The targets are those of TMC RP 642A, appendix 9, as the Michelin manual gives them."""
    return tuple(
        Wanted(Quantity.CASTER, 1, Measured.of(v * DEG, 0.05 * DEG, source=s), t * DEG, s)
        for v, t, s in ((left, left_target, Side.LEFT), (right, right_target, Side.RIGHT))
    )


def wedges(stock=HALVES * 2, fitted=(0.0, 0.0), difference=1.0, **more):
    fitted_rad = (fitted[0] * DEG, fitted[1] * DEG)
    return Wedges(stock, fitted_rad, difference * DEG, 4.5 * DEG, **more)


@pytest.mark.parametrize(
    ("length_m", "rise"),
    [
        (3.0 * INCH, 0.05237 * INCH),
        (3.5 * INCH, 0.06109 * INCH),
        (4.0 * INCH, 0.06982 * INCH),
        (0.1, 1.74551e-3),
    ],
)
def test_the_rise_of_a_wedge_of_one_degree(length_m, rise):
    """Length times the tangent, by hand for the widths of NAVEDTRA 14050A."""
    assert rise_m(length_m, DEG) == pytest.approx(rise, rel=1e-4)


@pytest.mark.parametrize("above", [True, False])
@pytest.mark.parametrize("thick_end", [1.0, -1.0])
@pytest.mark.parametrize("sai_deg", [0.0, 7.0])
def test_a_wedge_tips_the_steering_axis_as_its_pad_is_tipped(above, thick_end, sai_deg):
    """The spring's face stays level; the pad lies against the wedge's other face, whose height
    at two points gives its slope. Thick end rear counts positive."""
    angle = thick_end * 1.5 * DEG
    front_x, rear_x = 0.05, -0.05
    thickness = {x: 0.01 - x * math.tan(angle) for x in (front_x, rear_x)}
    sign = -1.0 if above else 1.0  # the pad hangs below the wedge, or rides on it
    slope = sign * (thickness[front_x] - thickness[rear_x]) / (front_x - rear_x)
    nose_up = math.atan(slope)
    axis = np.array([-math.tan(2.0 * DEG), -math.tan(sai_deg * DEG), 1.0])
    tipped = Rotation.from_rotvec([0.0, -nose_up, 0.0]).apply(axis)
    caster = math.atan2(-tipped[0], tipped[2])
    change = wedges(above_axle=above).caster_rad(angle)
    assert 2.0 * DEG + change == pytest.approx(caster, abs=1e-12)


@given(
    st.floats(0, 6),
    st.floats(-0.6, 0.6),
    st.sampled_from([0.0, 0.5, 1.0]),
    st.sampled_from([(0.0, 0.0), (1.0, 1.0), (-0.5, 0.5)]),
    st.booleans(),
    st.lists(st.sampled_from(HALVES[:5]), max_size=5),
)
@settings(max_examples=100, deadline=None)
def test_no_allowed_pair_of_wedges_does_better(left, cross, difference, fitted, above, stock):
    ask = wanted(left, left - cross)
    given_ = wedges(tuple(stock), fitted, difference, above_axle=above)
    at_hand = sorted([round(a / DEG, 3) for a in stock] + [abs(f) for f in fitted if f])
    sign = 1.0 if above else -1.0
    best = math.inf
    options = [0.0, *at_hand, *(-a for a in at_hand)]
    for pair in itertools.product(options, repeat=2):
        left_over = list(at_hand)
        try:
            for angle in filter(None, pair):
                left_over.remove(abs(angle))
        except ValueError:
            continue
        if abs(pair[0] - pair[1]) <= difference + 1e-9:
            errors = [
                abs(w.change / DEG - sign * (new - now))
                for w, new, now in zip(ask, pair, fitted, strict=True)
            ]
            best = min(best, max(errors))
    found = correct_by_wedges(ask, given_)
    worst = max(abs(o.remaining.value) for o in found.outcomes) / DEG
    assert worst == pytest.approx(best, abs=1e-6)
    put = [step.set_turn_rad / DEG for step in found.steps]
    assert abs(put[0] - put[1]) <= difference + 1e-6


def test_the_text_says_which_end_is_thick_and_by_how_much():
    found = correct_by_wedges(wanted(2.5, 3.0), wedges(length_m=0.1))
    assert [step.text for step in found.steps] == [
        f"{side} spring pad: fit one wedge of 1.00 degrees, thick end to the rear "
        "(it is 1.75 mm thicker there)."
        for side in ("Left", "Right")
    ]
    below = correct_by_wedges(wanted(2.5, 3.0), wedges(above_axle=False))
    assert all("thick end to the front" in step.text for step in below.steps)


def test_wedges_that_are_in_can_come_out_and_change_sides():
    stock = wedges((), (1.0, 0.0))
    found = correct_by_wedges(wanted(4.5, 4.0), stock)
    assert found.steps[0].text == (
        "Left spring pad: take out the wedge of 1.00 degrees, thick end to the rear."
    )
    assert found.steps[1].text == "Leave the right spring pad as it is: no wedge."


def test_what_else_is_said_depends_on_the_axle():
    plain = " ".join(correct_by_wedges(wanted(3.0, 3.5), wedges()).also)
    assert "pinion" not in plain
    assert "twist" not in plain
    driven = " ".join(correct_by_wedges(wanted(3.0, 3.5), wedges(driven=True)).also)
    assert "tips by 0.50 degrees, up where it lies ahead of the axle, down where behind" in driven
    crossed = correct_by_wedges(wanted(3.0, 4.0), wedges())
    assert "twist the axle beam" in " ".join(crossed.also)
    assert "twisted axle" in " ".join(crossed.before)
    far = correct_by_wedges(wanted(1.0, 1.5), wedges())
    assert "more than two degrees out" in " ".join(far.before)
    assert correct_by_wedges(wanted(3.0, 3.5), wedges()).before == ()


def test_wedges_that_change_sides_tip_no_pinion():
    given_ = wedges((), (1.0, 0.5), driven=True)
    found = correct_by_wedges(wanted(4.0, 3.5), given_)
    assert [step.set_turn_rad / DEG for step in found.steps] == pytest.approx([0.5, 1.0])
    assert "pinion" not in " ".join(found.also)


def test_limits_that_allow_nothing_are_refused():
    alone = Wedges((), (3.0 * DEG, 3.0 * DEG), -0.1 * DEG, 1.0 * DEG)
    with pytest.raises(MeasurementRefused, match="check the limits"):
        correct_by_wedges(wanted(3.0, 3.5), alone)


def test_steps_that_leave_a_larger_error_are_not_worth_doing():
    found = correct_by_wedges(wanted(2.5, 3.0), wedges())
    assert found.worth_doing
    worse = replace(found, outcomes=tuple(w.changed(-2 * DEG) for w in wanted(2.5, 3.0)))
    assert worse.worsens
    assert not worse.worth_doing
    assert replace(worse, beyond=("it must come out",)).worth_doing


def test_beam_axle_camber_is_referred_and_nothing_turned():
    measured = Measured.of(1.2 * DEG, 0.03 * DEG, source="test")
    found = refer_camber(Wanted(Quantity.CAMBER, 1, measured, 0.25 * DEG, Side.LEFT))
    assert not found.adjustable
    assert not found.worth_doing
    assert found.outcomes[0].remaining.value == pytest.approx(0.95 * DEG)
    assert "refer the axle to its maker" in found.steps[0].text
    assert "Never bend or heat" in found.steps[0].text
