"""The technician's plans on the rig's tracks, with a clock of the test's own."""

import numpy as np
import pytest

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.draws import draw_head
from ingest.simulator.fleet import rigid_8x4
from ingest.simulator.rig import Rig
from ingest.simulator.streams import stream
from ingest.simulator.technician import SLOPPY_DEG, Pace, Technician
from ingest.simulator.truth import wheel_truth
from ingest.simulator.vehicle import WheelAt

LEFT, RIGHT = WheelAt(2, Side.LEFT), WheelAt(2, Side.RIGHT)


class Bay:
    """A rig with two heads, a technician, and a clock that only waiting moves."""

    def __init__(self, seed: int = 7, settle_deg: float = 0.02) -> None:
        self.now_s = 0.0
        self.heads = {LEFT: draw_head(seed, "a"), RIGHT: draw_head(seed, "b")}
        self.rig = Rig(rigid_8x4(seed), tuple(self.heads.values()))
        self.person = Technician(
            self.rig, stream(seed, "person"), lambda: self.now_s, settle_sigma_rad=settle_deg * DEG
        )

    def spin_deg(self, wheel: WheelAt) -> float:
        return float(self.rig.vehicle.wheel_state[wheel].spin.at(np.array([self.now_s]))[0]) / DEG

    def stops(self, wheel: WheelAt, count: int) -> list[float]:
        found = []
        for step in self.person.stops(wheel, count):
            self.now_s += step.wait_s
            found.append(self.spin_deg(wheel))
        return found


def test_turns_by_stops_once_round_a_little_sloppily_while_the_partner_stands_still() -> None:
    bay = Bay()
    found = bay.stops(LEFT, 4)
    assert len(found) == 5
    misses = np.array(found) - 90.0 * np.arange(5)
    assert np.abs(misses).max() <= SLOPPY_DEG
    assert np.ptp(misses) > 0.1
    assert bay.spin_deg(RIGHT) == 0.0


def test_the_wheel_rests_for_the_dwell_before_each_stop_is_over() -> None:
    bay, pace = Bay(), Pace()
    for step in bay.person.stops(LEFT, 3):
        bay.now_s += step.wait_s
        rest = np.linspace(bay.now_s - pace.dwell_s + 1e-6, bay.now_s, 20)
        assert np.ptp(bay.rig.vehicle.wheel_state[LEFT].spin.at(rest)) == 0.0


def test_turns_through_a_little_more_than_once_round_in_one_go() -> None:
    bay = Bay()
    step = bay.person.through(RIGHT)
    t_s = np.linspace(0.0, step.wait_s, 500)
    rates = bay.rig.vehicle.wheel_state[RIGHT].spin.rate(t_s)
    bay.now_s = step.wait_s
    assert 365.0 <= bay.spin_deg(RIGHT) <= 375.0
    assert rates.min() >= 0.0
    moving = t_s[rates > 0.0]
    assert moving[-1] - moving[0] == pytest.approx(Pace().through_s, abs=0.05)


def test_mounting_seats_a_head_and_dismounting_takes_it_off() -> None:
    bay = Bay()
    head = bay.heads[LEFT]
    bay.now_s += bay.person.mount(head, LEFT).wait_s
    seat = head.seat_at(bay.now_s)
    assert seat is not None
    assert seat.wheel == LEFT
    bay.now_s += bay.person.dismount(head).wait_s
    assert head.seat_at(bay.now_s) is None
    bay.now_s += bay.person.mount(head, LEFT).wait_s
    again = head.seat_at(bay.now_s)
    assert again is not None
    assert again.clamping != seat.clamping, "no clamp goes on twice alike"


def test_a_lifted_wheel_is_not_as_it_stands_and_a_lowered_one_is_nearly_as_before() -> None:
    lifted, toes, lowered = [], [], []
    for seed in range(40):
        bay = Bay(seed)
        stood = wheel_truth(bay.rig.vehicle, LEFT, 0.0)
        bay.now_s += bay.person.jack(2).wait_s
        up = wheel_truth(bay.rig.vehicle, LEFT, bay.now_s)
        assert up.hub_m[2] - stood.hub_m[2] == pytest.approx(0.06, abs=0.02)
        assert not bay.rig.vehicle.stands(2, bay.now_s)
        bay.now_s += bay.person.lower(2).wait_s
        down = wheel_truth(bay.rig.vehicle, LEFT, bay.now_s)
        assert bay.rig.vehicle.stands(2, bay.now_s)
        lifted.append((up.camber_rad - stood.camber_rad) / DEG)
        toes.append((up.toe_rad - stood.toe_rad) / DEG)
        lowered.append((down.camber_rad - stood.camber_rad) / DEG)
    assert np.std(lifted) == pytest.approx(np.hypot(0.05, 0.2), rel=0.4)
    assert np.std(toes) == pytest.approx(0.05, rel=0.4)
    assert np.std(lowered) == pytest.approx(0.02, rel=0.4)


def test_other_axles_stay_as_they_are_while_one_is_lifted() -> None:
    bay = Bay()
    before = wheel_truth(bay.rig.vehicle, WheelAt(1, Side.LEFT), 0.0)
    bay.now_s += bay.person.jack(2).wait_s
    assert wheel_truth(bay.rig.vehicle, WheelAt(1, Side.LEFT), bay.now_s) == before


def test_a_head_swings_after_its_wheel_was_turned_and_hangs_still_at_the_end_of_the_dwell() -> None:
    bay, swings = Bay(), []
    head = bay.heads[LEFT]
    bay.now_s += bay.person.mount(head, LEFT).wait_s + 5.0
    for step in bay.person.stops(LEFT, 3):
        bay.now_s += step.wait_s
        after = np.linspace(bay.now_s - Pace().dwell_s, bay.now_s - Pace().dwell_s + 0.5, 50)
        end = np.linspace(bay.now_s - 0.3, bay.now_s, 20)
        swings.append(float(np.ptp(head.swing.at(after, np.zeros(1)) + np.zeros(50))))
        assert np.ptp(head.swing.at(end, np.zeros(1)) + np.zeros(20)) < 0.005 * DEG
    assert max(swings[1:]) > 0.02 * DEG
    still = bay.heads[RIGHT].swing.at(np.array([bay.now_s]), np.zeros(1))
    assert still[0] == bay.heads[RIGHT].pendulum.hang_rad


def test_the_same_seed_works_the_same_way() -> None:
    assert Bay(3).stops(LEFT, 4) == Bay(3).stops(LEFT, 4)
    assert Bay(3).stops(LEFT, 4) != Bay(4).stops(LEFT, 4)
