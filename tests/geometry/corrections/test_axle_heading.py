"""Arms, eccentrics and bar pins against an axle that is placed by its links, in plan.

The forward models share nothing with the corrections: a rigid axle is put where its links hold it
(scipy's root finder), and its heading is read off the two ends.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.corrections.arms import Arms, correct_by_arms
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.bar_pin import BarPins, Position, correct_by_bar_pins
from ingest.geometry.corrections.eccentric import Eccentrics, correct_by_eccentrics
from ingest.geometry.corrections.thread import Thread, Turning
from ingest.geometry.corrections.wanted import Quantity, Wanted

DEG = math.pi / 180
INCH = 0.0254
BOTH = (Side.LEFT, Side.RIGHT)
ALL_ENDS = [BOTH, (Side.LEFT,), (Side.RIGHT,)]
FINE = 1e-9
"""A thread step so fine that the settable length is the exact one."""

headings_deg = st.floats(-2.0, 2.0)
ends = st.sampled_from(ALL_ENDS)


def wanted(measured_deg, target_deg=0.0, u_deg=0.01):
    measured = Measured.of(measured_deg * DEG, u_deg * DEG, source="test")
    return Wanted(Quantity.AXLE_HEADING, 2, measured, target_deg * DEG)


class AxleOnArms:
    """Two arms of some length from the frame to a rigid axle; ISO 8855 axes, in plan."""

    def __init__(self, between_m, heading_rad, ahead, arm_m=0.6):
        self.half = between_m / 2
        reach = arm_m if ahead else -arm_m
        self.anchors = {s: self.end(s, reach, heading_rad) for s in BOTH}
        self.lengths = dict.fromkeys(BOTH, arm_m)

    def end(self, side, x, heading):
        along = np.array([-math.sin(heading), math.cos(heading)])
        return np.array([x, 0.0]) + side.sign * self.half * along

    def heading(self):
        def gap(pose):
            return [
                np.linalg.norm(self.end(s, *pose) - self.anchors[s]) - self.lengths[s] for s in BOTH
            ]

        found = optimize.root(gap, [0.0, 0.0], tol=1e-14)
        assert np.abs(found.fun).max() < 1e-12
        return found.x[1]


@given(headings_deg, headings_deg, st.floats(0.6, 1.4), ends, st.booleans())
@settings(max_examples=60, deadline=None)
def test_arms_turn_the_axle_to_its_target(measured, target, between, sides, ahead):
    axle = AxleOnArms(between, measured * DEG, ahead)
    assert axle.heading() == pytest.approx(measured * DEG, abs=1e-10)
    arms = Arms(Ends(between, sides), Thread((0.0015,), FINE), ahead)
    for step in correct_by_arms(wanted(measured, target), arms).steps:
        axle.lengths[step.side] += step.length_m
    # The formula takes the ends to move square to the axle as it stands; turned by up to 4 deg,
    # the axle of rigid links goes another way by 0.3 % of the change at most.
    change = abs(target - measured) * DEG
    assert axle.heading() == pytest.approx(target * DEG, abs=1e-9 + 0.003 * change)


def test_arms_are_exact_for_corrections_of_everyday_size():
    for measured in (0.5, -0.3, 0.1):
        for sides in ALL_ENDS:
            axle = AxleOnArms(1.1, measured * DEG, ahead=True)
            arms = Arms(Ends(1.1, sides), Thread((0.0015,), FINE), anchor_ahead=True)
            for step in correct_by_arms(wanted(measured), arms).steps:
                axle.lengths[step.side] += step.length_m
            assert axle.heading() / DEG == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("ahead", [True, False])
def test_the_text_names_the_arm_and_the_way_that_bring_the_axle_back(ahead):
    """An axle that steers to the left has its left end too far back."""
    arms = Arms(Ends(1.0, (Side.LEFT,)), Thread((0.0015,)), ahead)
    (step,) = correct_by_arms(wanted(0.3), arms).steps
    assert step.action == ("shorten" if ahead else "lengthen")
    assert step.text.startswith(f"{step.action.capitalize()} the left torque arm by 5.23 mm:")


def test_published_angles_of_a_side_difference():
    """1/8 in over 71.5 in "or 0.1 deg" (TTMA RP 71, by trailer makers' manuals), and the same by
    plain trigonometry over 77.5 in, and for 1/16 in."""
    for difference_in, width_in, angle_deg in (
        (1 / 8, 71.5, 0.10017),
        (1 / 8, 77.5, 0.09241),
        (1 / 16, 71.5, 0.05008),
    ):
        ends_ = Ends(width_in * INCH, (Side.RIGHT,))
        turned = ends_.turned_rad({Side.RIGHT: difference_in * INCH})
        assert turned / DEG == pytest.approx(angle_deg, abs=5e-6)
        assert ends_.moves_m(turned)[Side.RIGHT] == pytest.approx(difference_in * INCH)


def test_turns_are_move_over_pitch_and_what_cannot_be_set_remains():
    thread = Thread((0.0015, 0.0015), 90 * DEG)
    arms = Arms(Ends(1.0, (Side.RIGHT,)), thread, anchor_ahead=True)
    found = correct_by_arms(wanted(-0.2), arms)
    (step,) = found.steps
    assert step.turn_rad / math.tau == pytest.approx(-1e3 * math.tan(0.2 * DEG) / 3.0)
    set_m = step.set_turn_rad / math.tau * 0.003
    assert step.set_turn_rad / (90 * DEG) == pytest.approx(round(step.set_turn_rad / (90 * DEG)))
    left_over = math.atan2(-step.length_m, 1.0) - math.atan2(-set_m, 1.0)
    assert found.outcomes[0].remaining.value == pytest.approx(-left_over, abs=1e-12)
    assert abs(found.outcomes[0].remaining.value) <= math.atan(0.003 / 8) + 1e-9
    assert found.outcomes[0].remaining.u == pytest.approx(0.01 * DEG)


def test_the_stated_turning_is_reversed_for_the_other_way():
    lengthens = Turning(clockwise=True, seen_from="the front")
    thread = Thread((0.0015,), lengthens=lengthens)
    arms = Arms(Ends(1.0, BOTH), thread, anchor_ahead=True)
    texts = {s.action: s.text for s in correct_by_arms(wanted(0.3), arms).steps}
    assert texts["lengthen"].endswith(" clockwise, seen from the front.")
    assert texts["shorten"].endswith(" counter-clockwise, seen from the front.")


def test_a_move_beyond_the_travel_is_refused_and_one_to_its_very_end_is_not():
    needed_m = math.tan(0.3 * DEG)
    arms = Arms(Ends(1.0, (Side.LEFT,)), Thread((0.0015,), shorter_m=0.99 * needed_m), True)
    with pytest.raises(MeasurementRefused, match=r"left torque arm.* 5\.24 mm .* 5\.18 mm") as e:
        correct_by_arms(wanted(0.3), arms)
    assert e.value.code == "beyond-travel"
    assert e.value.figure == pytest.approx(needed_m * 1e3)
    # 6.98 half turns: the seventh would leave the travel.
    halves = Thread((0.0015,), 180 * DEG, shorter_m=needed_m * (1 + 1e-12))
    (step,) = correct_by_arms(wanted(0.3), Arms(Ends(1.0, (Side.LEFT,)), halves, True)).steps
    assert step.set_turn_rad == pytest.approx(-6 * math.pi)


def test_the_middle_of_the_axle_moves_when_one_end_alone_does():
    one = correct_by_arms(wanted(0.3), Arms(Ends(1.0, (Side.LEFT,)), Thread((0.0015,)), True))
    assert "moves forward by 2.61 mm" in one.also[0]
    both = correct_by_arms(wanted(0.3), Arms(Ends(1.0, BOTH), Thread((0.0015,)), True))
    assert not any("middle of the axle" in sentence for sentence in both.also)


@given(st.floats(-0.3, 0.3), st.floats(-15, 15), st.floats(-15, 15), st.sampled_from(ALL_ENDS))
@settings(max_examples=60, deadline=None)
def test_eccentrics_turn_the_axle_to_its_target(measured, left_deg, right_deg, sides):
    """The pins go round circles; which angle squares the axle is for a root finder to say."""
    radius, between = 0.012, 1.0
    at = {Side.LEFT: left_deg * DEG, Side.RIGHT: right_deg * DEG}
    eccentrics = Eccentrics(Ends(between, sides), radius, 45 * DEG, at, step_rad=FINE)
    found = correct_by_eccentrics(wanted(measured), eccentrics)
    pins = {s: radius * np.exp(1j * (math.pi / 2 - at[s])) for s in BOTH}  # real part: forward
    forward = dict.fromkeys(BOTH, 0.0)
    for step in found.steps:
        turned_pin = pins[step.side] * np.exp(-1j * step.turn_rad)
        forward[step.side] = (turned_pin - pins[step.side]).real
        share = step.length_m
        angle = optimize.brentq(
            lambda a, pin=pins[step.side], m=share: (pin * np.exp(-1j * a) - pin).real - m,
            -90 * DEG - at[step.side],
            90 * DEG - at[step.side],
            xtol=1e-14,
        )
        assert step.turn_rad == pytest.approx(angle, abs=1e-9)
    turned = math.atan2(forward[Side.RIGHT] - forward[Side.LEFT], between)
    assert measured * DEG + turned == pytest.approx(0.0, abs=1e-10)


def test_an_eccentric_says_which_way_after_the_published_rule():
    """Clockwise moves the axle forward, range 45 degrees either side (a suspension maker's
    handbook)."""
    forward = Turning(clockwise=True, seen_from="outside the vehicle")
    at = dict.fromkeys(BOTH, 0.0)
    eccentrics = Eccentrics(Ends(1.0, (Side.LEFT,)), 0.01, 45 * DEG, at, forward)
    (step,) = correct_by_eccentrics(wanted(0.2), eccentrics).steps
    assert step.action == "turn forward"
    assert "20 degrees clockwise, seen from outside the vehicle" in step.text
    (step,) = correct_by_eccentrics(wanted(-0.2), eccentrics).steps
    assert step.action == "turn rearward"
    assert "20 degrees counter-clockwise" in step.text


def test_an_eccentric_stays_within_its_range():
    at = {Side.LEFT: 40 * DEG, Side.RIGHT: 0.0}
    eccentrics = Eccentrics(Ends(1.0, (Side.LEFT,)), 0.01, 45 * DEG, at)
    with pytest.raises(MeasurementRefused) as refused:
        correct_by_eccentrics(wanted(0.2), eccentrics)
    left_mm = 10 * (math.sin(45 * DEG) - math.sin(40 * DEG))
    assert refused.value.limit == pytest.approx(left_mm)
    needed_rad = math.atan(0.01 * (math.sin(44.9 * DEG) - math.sin(40 * DEG)))
    coarse = Eccentrics(Ends(1.0, (Side.LEFT,)), 0.01, 45 * DEG, at, step_rad=6 * DEG)
    (step,) = correct_by_eccentrics(wanted(needed_rad / DEG), coarse).steps
    assert step.set_turn_rad == 0.0


def bar_pins(sides, at_left=0.0, at_right=0.0, steps_in=(-6, -3, 0, 3, 6)):
    """Quarter turns of a standard set move the axle by 3/16 in each (Hendrickson 17730-285)."""
    positions = {n: Position(f"{n} of 16", n / 16 * INCH) for n in steps_in}
    at = {Side.LEFT: positions[at_left], Side.RIGHT: positions[at_right]}
    return BarPins(Ends(1.0, sides), tuple(positions.values()), at)


def test_a_quarter_turn_of_a_bar_pin_is_three_sixteenths_of_an_inch():
    angle = math.degrees(math.atan2(3 / 16 * INCH, 1.0))
    found = correct_by_bar_pins(wanted(angle), bar_pins((Side.LEFT,)))
    (step,) = found.steps
    assert step.length_m == pytest.approx(3 / 16 * INCH)
    assert '"3 of 16" instead of "0 of 16"' in step.text
    assert "forward by 4.76 mm" in step.text
    assert found.outcomes[0].remaining.value == pytest.approx(0.0, abs=1e-12)


@given(st.floats(-1.5, 1.5), ends, st.sampled_from([-3, 0, 3]), st.sampled_from([-3, 0, 3]))
@settings(max_examples=60, deadline=None)
def test_bar_pins_come_as_near_as_any_pair_of_positions(measured, sides, left, right):
    pins = bar_pins(sides, left, right)
    grid = np.array([-6, -3, 0, 3, 6]) / 16 * INCH
    lefts = grid if Side.LEFT in sides else np.array([left / 16 * INCH])
    rights = grid if Side.RIGHT in sides else np.array([right / 16 * INCH])
    moved = (rights[None, :] - right / 16 * INCH) - (lefts[:, None] - left / 16 * INCH)
    best = np.abs(np.tan(-measured * DEG) - moved).min()
    found = correct_by_bar_pins(wanted(measured), pins)
    by = {step.side: step.length_m for step in found.steps}
    reached = by.get(Side.RIGHT, 0.0) - by.get(Side.LEFT, 0.0)
    assert abs(math.tan(-measured * DEG) - reached) == pytest.approx(best, abs=1e-5)


def test_a_correction_smaller_than_u_is_not_worth_doing():
    arms = Arms(Ends(1.0, BOTH), Thread((0.0015,)), anchor_ahead=True)
    assert correct_by_arms(wanted(0.05, u_deg=0.02), arms).worth_doing
    assert not correct_by_arms(wanted(0.03, u_deg=0.02), arms).worth_doing
