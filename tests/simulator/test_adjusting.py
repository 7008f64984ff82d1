"""What an act at an adjuster does to the vehicle: which angles move, how smoothly, and when none.

Expected effects are those of rigid bodies in plan (an axle turns hubs and both wheels with it, a
link to one knuckle moves both wheels, a rod between them one), worked by hand.
"""

import math

import numpy as np
import pytest

from ingest.core.channels import ROW, Channel
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.geometry.corrections.camber import TEXT
from ingest.simulator.adjusting.adjusters import Adjusters, HandPace
from ingest.simulator.adjusting.advice import Unreadable, read
from ingest.simulator.adjusting.axle import Place
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.adjusting.hands import act
from ingest.simulator.adjusting.lever import Lever
from ingest.simulator.adjusting.parts import (
    Arm,
    DragLink,
    EndArms,
    EndShims,
    Hand,
    Threads,
    TieRod,
    Wedges,
)
from ingest.simulator.adjusting.screw import lengthens
from ingest.simulator.clamp import Clamping
from ingest.simulator.head import Head, HeadDesign
from ingest.simulator.rig import Rig
from ingest.simulator.truth import steering_truth, vehicle_truth
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt, WheelBuild

THREADS = Threads((0.0015, 0.0015), Hand(True, "the front"), 0.015, 0.015)
ARMS = EndArms(1.0, THREADS, anchor_ahead=True)
ROD = TieRod(THREADS, Arm(0.2, 8 * DEG), ahead=False)
LINK = DragLink(THREADS, Arm(0.22), 20.0, left_pushes=True, held=Side.LEFT)
PACKS = EndShims(1.0, True, 0.014, dict.fromkeys(Side, (0.003,)), (0.001, 0.001))
WEDGES = Wedges(dict.fromkeys(Side, 0.0), (1.0 * DEG,), above_axle=True)
LEFT_ARM = Place(1, "torque arm", Side.LEFT)


class Bay:
    def __init__(self, *parts, seized=()):
        self.now_s = 5.0
        wheel = WheelBuild(0.3 * DEG, 0.1 * DEG, 3 * DEG, 6 * DEG)
        axle = AxleBuild(1, 2.0, 0.0, 2.0, 0.5, 0.0, wheel, wheel, steered=True)
        self.vehicle = Vehicle("invented", (axle,))
        self.adjusters = Adjusters(
            self.vehicle,
            {1: parts},
            np.random.default_rng(3),
            lambda: self.now_s,
            frozenset(seized),
        )

    def wait(self, step):
        self.now_s += step.wait_s
        return self.wheels

    @property
    def wheels(self):
        wheels = vehicle_truth(self.vehicle, self.now_s).wheels
        return wheels[WheelAt(1, Side.LEFT)], wheels[WheelAt(1, Side.RIGHT)]


def test_a_longer_left_arm_from_ahead_turns_hubs_and_both_wheels_to_the_left():
    bay = Bay(ARMS)
    left, right = bay.wheels
    new_left, new_right = bay.wait(bay.adjusters.turn(LEFT_ARM, 1.0))
    turned = math.atan(0.003 / 1.0)  # 3 mm over 1 m, the left end rearward: to the left
    assert new_left.toe_rad - left.toe_rad == pytest.approx(-turned, rel=0.02)
    assert new_right.toe_rad - right.toe_rad == pytest.approx(turned, rel=0.02)
    moved = np.array(new_left.hub_m) - left.hub_m
    assert moved[0] == pytest.approx(-0.0015 - turned, rel=0.02), "middle 1.5 mm back, and swung"
    assert new_left.camber_rad == pytest.approx(left.camber_rad, abs=1e-12)


def test_the_turn_is_smooth_takes_seconds_and_starts_after_now():
    bay = Bay(ARMS)
    step = bay.adjusters.turn(LEFT_ARM, 2.0)
    t_s = np.linspace(bay.now_s, bay.now_s + step.wait_s, 400)
    turned = bay.vehicle.axle_state[1].turned.at(t_s)
    lead_s = HandPace().lead_s
    assert np.all(turned[t_s <= bay.now_s + lead_s] == 0.0)
    assert 2.0 < step.wait_s < 7.0
    assert np.all(np.diff(turned) >= 0.0)
    assert np.abs(np.diff(turned)).max() < 0.02 * turned[-1]
    again = bay.adjusters.turn(LEFT_ARM, -2.0)  # before the first is over: it waits its turn
    assert again.wait_s > step.wait_s
    bay.wait(again)
    assert bay.vehicle.axle_state[1].turned.last == pytest.approx(0.0, abs=3e-5)


def test_the_tie_rod_moves_the_wheel_that_is_not_held_and_the_drag_link_moves_both():
    bay = Bay(ROD, LINK)
    left, right = bay.wheels
    new_left, new_right = bay.wait(bay.adjusters.turn(Place(1, "tie rod"), 0.5))
    assert new_left.toe_rad == pytest.approx(left.toe_rad, abs=1e-12)
    assert new_right.toe_rad - right.toe_rad == pytest.approx(0.0015 / 0.2, rel=0.05)
    newer_left, newer_right = bay.wait(bay.adjusters.turn(Place(1, "drag link"), 0.5))
    steered = newer_right.toe_rad - new_right.toe_rad
    assert steered > 0.003, "a longer link pushes the wheels to the left"
    assert newer_left.toe_rad - new_left.toe_rad == pytest.approx(-steered, rel=0.03), (
        "the arms' lean lets the inner wheel turn a little more"
    )


def test_a_head_on_the_wheel_sees_it_come():
    bay = Bay(ROD)
    heads = [Head(HeadDesign(HeadId(f"{n:016x}"))) for n in range(2)]
    rig = Rig(bay.vehicle, tuple(heads))
    for head, side in zip(heads, Side, strict=True):
        rig.mount(head, WheelAt(1, side), Clamping(), 0.0)
    step = bay.adjusters.turn(Place(1, "tie rod"), 0.5)
    t_s = np.linspace(bay.now_s, bay.now_s + step.wait_s, 50)
    seen = rig.true_channels(heads[1], t_s)[ROW[Channel.AZIMUTH_CROSS]]
    # The right wheel toes in, to the left, so the line across goes right in the head's own plane.
    # Its port, 0.53 m outward of the kingpin, swings forward, which takes part of that back: the
    # line is 2.56 m long.
    was = bay.wheels[1].toe_rad
    steered = bay.wait(step)[1].toe_rad - was
    assert steered == pytest.approx(0.0015 / 0.2, rel=0.03)
    assert seen[-1] - seen[0] == pytest.approx(-steered * (1 - 0.53 / 2.56), rel=0.01)
    assert np.all(np.diff(seen) <= 1e-9), "the swing from the mounting has died away"
    assert np.abs(np.diff(seen)).max() < 0.06 * abs(seen[-1] - seen[0])


def test_a_wheel_turned_by_its_rod_leans_as_its_steering_axis_makes_it():
    # A wheel steered out of straight by d changes its camber by -side * d * caster, first order.
    bay = Bay(ROD)
    _, right = bay.wheels
    _, new = bay.wait(bay.adjusters.turn(Place(1, "tie rod"), 0.5))
    steered = new.toe_rad - right.toe_rad  # of a right wheel, toe-in is to the left
    assert new.camber_rad - right.camber_rad == pytest.approx(-steered * 3 * DEG, rel=0.2)


def test_a_wedge_leans_the_axis_of_its_own_side():
    bay = Bay(WEDGES)
    bay.wait(bay.adjusters.wedge(Place(1, "spring pad", Side.LEFT), 1.0 * DEG))
    caster = [steering_truth(bay.vehicle, WheelAt(1, s), bay.now_s).caster_rad / DEG for s in Side]
    assert caster == [pytest.approx(4.0, abs=0.02), pytest.approx(3.0, abs=1e-9)]
    with pytest.raises(NotAtHand):
        bay.adjusters.wedge(Place(1, "spring pad", Side.RIGHT), 1.0 * DEG)  # it had only the one


def test_what_is_seized_at_its_end_or_not_there_moves_nothing():
    bay = Bay(ARMS, seized=[LEFT_ARM])
    with pytest.raises(Stuck, match="left torque arm of axle 1 is seized"):
        bay.adjusters.turn(LEFT_ARM, 1.0)
    with pytest.raises(Stuck, match="end of its travel"):
        bay.adjusters.turn(Place(1, "torque arm", Side.RIGHT), 5.1)
    with pytest.raises(NotAtHand, match="no left shim pack of axle 1"):
        bay.adjusters.fit(Place(1, "shim pack", Side.LEFT), (0.001,))
    with pytest.raises(NotAtHand, match="cannot be done"):
        bay.adjusters.fit(Place(1, "torque arm", Side.RIGHT), (0.001,))
    assert bay.vehicle.axle_state[1].turned.end_s == -np.inf


def test_shims_come_from_one_shelf_and_go_back_to_it():
    bay = Bay(PACKS)
    left, right = Place(1, "shim pack", Side.LEFT), Place(1, "shim pack", Side.RIGHT)
    bay.wait(bay.adjusters.fit(left, (0.003, 0.001, 0.001)))
    with pytest.raises(NotAtHand):
        bay.adjusters.fit(right, (0.003, 0.001))
    bay.wait(bay.adjusters.fit(left, (0.003, 0.001)))
    bay.wait(bay.adjusters.fit(right, (0.003, 0.001)))
    assert bay.vehicle.axle_state[1].turned.last == pytest.approx(0.0, abs=1e-12)
    assert bay.vehicle.axle_state[1].ahead.last == pytest.approx(0.001, rel=0.011)


def test_a_thread_turned_back_has_play_to_take_up_first():
    bay = Bay(ARMS)
    for turns in (1.0, -1.0, 1.0, -1.0):
        bay.adjusters.turn(LEFT_ARM, turns)
    goals = [bay.vehicle.axle_state[1].ahead.last]
    bay.adjusters.turn(LEFT_ARM, 1.0)
    goals.append(bay.vehicle.axle_state[1].ahead.last)
    lost_m = 0.0015 - abs(goals[1] - goals[0])
    assert 0.0 < lost_m < 2e-5


@pytest.mark.parametrize(
    ("seen_from", "clockwise", "longer"),
    [("the front", True, True), ("the front", False, False), ("the rear", True, False)],
)
def test_a_turning_seen_from_the_other_end_is_the_other_turning(seen_from, clockwise, longer):
    assert lengthens(Hand(True, "the front"), clockwise, seen_from) is longer


def test_nobody_sees_a_turning_from_the_side():
    with pytest.raises(ValueError, match="nobody sees"):
        lengthens(Hand(True, "the front"), True, "above")


def test_a_sentence_that_says_no_such_thing_is_not_guessed_at():
    for sentence in (
        "Lengthen the tie rod a little.",
        "Turn it.",
        "",
        "Left spring pad: grease it.",
    ):
        with pytest.raises(Unreadable):
            read(sentence)


def test_camber_of_a_beam_axle_moves_nothing():
    assert act(Bay(ARMS).adjusters, 1, TEXT) is None


def test_a_lever_in_line_with_its_rod_is_stuck():
    lever = Lever(np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]), np.array([[0.2, 0.0, 0.0]]))
    with pytest.raises(Stuck, match="in line"):
        lever.swing_to(np.array([[1.0, 0.0, 0.0]]), 0.9)
