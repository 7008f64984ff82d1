"""Between two jobs of a bay that stays its vehicle is turned at: there is something to find."""

import pytest

from ingest.commands.align_stay import turn_about
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import vehicle_called
from ingest.core.units import DEG
from ingest.simulator.practice import Trouble
from ingest.simulator.streams import stream
from ingest.simulator.truth_by_topic import truth_by_topic

TOE = "axle/1/both/total-toe"


@pytest.mark.parametrize("name", ["rigid-4x2", "rigid-8x4", "tractor-and-trailer"])
def test_every_thread_is_turned_and_the_truth_moves(name: str):
    now_s = 0.0
    practice = practice_on(vehicle_called(name, None), 5, (Trouble.TOE,), lambda: now_s)

    def toe_deg(at_s: float) -> float:
        truth = truth_by_topic(practice.vehicle, practice.frames, at_s, practice.adjusters)
        return truth[TOE] / DEG

    before = toe_deg(0.0)
    turn_about(practice.adjusters, stream(5, "between"))
    assert abs(toe_deg(60.0) - before) > 0.05


def test_a_part_that_is_seized_is_left_as_it_is():
    practice = practice_on(vehicle_called("rigid-4x2", None), 5, (), lambda: 0.0)
    practice.adjusters.seized = frozenset(practice.adjusters.places)
    before = truth_by_topic(practice.vehicle, practice.frames, 60.0, practice.adjusters)
    turn_about(practice.adjusters, stream(5, "between"))
    after = truth_by_topic(practice.vehicle, practice.frames, 60.0, practice.adjusters)
    assert after == before
