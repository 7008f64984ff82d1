"""Axles that were moved tie the others by where they stood, as far as nothing else ties them.

Two axles that were both read against a third stand to each other as they stood, wherever that one
has gone: a property of readings, held here by hand, and in whole jobs against the simulator.
"""

from types import SimpleNamespace

import pytest
from scipy import stats

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.course.tasks import Doing
from ingest.service.bayhead import Wheel
from ingest.service.networkrow import Hold, Row, Stand
from ingest.service.networkrows import Rows
from ingest.simulator.practice import Trouble
from tools.rehearsal.hands import JobOnABay


def left(axle):
    return Wheel(axle, Side.LEFT)


def read(rows, place, one, other, hold=Hold.LIVE):
    """Let a head at one axle see that at another."""
    wheels = left(one), left(other)
    ends = tuple(SimpleNamespace(mounting=w.axle, standing=rows.standing(w)) for w in wheels)
    rows.take(Row(place, None, None, 0, ends, wheels, hold))


def former(rows):
    return [(row.place, *(stand.former for stand in row.stands)) for row in rows.former]


def test_two_axles_stay_tied_by_where_a_third_one_stood():
    rows = Rows()
    read(rows, 1, 1, 3)
    read(rows, 2, 1, 4, Hold.CLOSED)
    assert rows.moved(1) == {1, 2}
    assert former(rows) == [(1, True, False), (2, True, False)]
    assert not rows.held


def test_what_ties_nothing_is_forgotten():
    rows = Rows()
    read(rows, 1, 1, 3)
    rows.moved(1)
    assert former(rows) == []


def test_what_is_tied_by_other_sightlines_needs_no_former_one():
    rows = Rows()
    read(rows, 1, 1, 3)
    read(rows, 2, 1, 4)
    read(rows, 3, 3, 4)
    rows.moved(1)
    assert former(rows) == []


def test_what_a_moving_head_read_last_is_not_where_its_wheel_stood():
    rows = Rows()
    read(rows, 1, 1, 3)
    read(rows, 2, 1, 4, Hold.RESTING)
    rows.moved(1)
    assert former(rows) == []


def test_axles_moved_one_after_the_other_are_a_chain():
    """2 - 3 - 1 - 4 in a row: with 1 and 3 moved, 2 and 4 are tied by where both stood."""
    rows = Rows()
    for place, (one, other) in enumerate(((2, 3), (3, 1), (1, 4))):
        read(rows, place, one, other, Hold.CLOSED)
    rows.moved(1)
    rows.moved(3)
    assert sorted(former(rows)) == [(0, False, True), (1, True, True), (2, True, False)]


def test_a_pin_stays_tied_by_the_hub_that_it_was_taped_to():
    rows = Rows()
    read(rows, 1, 3, 4)
    rows.moved(3, [Stand(left(3), 0, former=True)])
    assert former(rows) == [(1, True, False)]


def test_a_wheel_that_moved_unseen_takes_along_what_former_ones_tell_of_it():
    rows = Rows()
    rows.settled(left(4), 0.0)
    read(rows, 1, 1, 3)
    read(rows, 2, 1, 4)
    rows.moved(1)
    rows.settled(left(4), 0.01)
    assert former(rows) == [(1, True, False)]


@pytest.fixture(scope="module")
def carried():
    """A 6x4 with two pairs of heads: its reference axle has none while the others are set."""
    troubles = (Trouble.SKEWED_AXLES, Trouble.TOE, Trouble.STEERING_WHEEL)
    found = JobOnABay(12, "rigid-6x4", "pellowmere-17", troubles, sweeps=False)
    return found.run()


def test_nothing_is_left_that_holds_no_longer(carried):
    assert carried.job.closed.finished
    assert len(carried.job.adjustments) == 3
    assert not carried.job.stale & {*carried.job.found, *carried.job.left}


def test_the_drag_link_is_set_with_no_head_on_the_reference_axle(carried):
    """By the truth of the steering wheel itself, which no head sees; limits of its vehicle."""
    job = carried.job
    (mounted,) = [t for t in job.tasks if t.doing is Doing.MOUNT and t.set_up == 2]
    assert mounted.off == (3,)
    (set_up,) = {a.task.set_up for a in job.adjustments if a.task.quantity == "steering_wheel"}
    assert set_up == 2
    at = "axle/1/both/heading"
    assert (job.found[at].decision, job.left[at].decision) == ("outside", "inside")
    assert abs(carried.truth()["vehicle/steering-wheel"]) < 1.5 * DEG


def test_what_was_carried_agrees_with_the_truth_within_its_uncertainty(carried):
    """Each result within the 99.9 % band of its own u, divided by their number (Bonferroni)."""
    truth, job = carried.truth(), carried.job
    known = {t: r for t in {*job.found, *job.left} if t in truth and (r := job.left_of(t)).u > 0.0}
    assert len(known) > 20
    most = stats.norm.ppf(1.0 - 0.001 / 2.0 / len(known))
    for topic, reading in known.items():
        assert abs(reading.value - truth[topic]) < most * reading.u, topic
