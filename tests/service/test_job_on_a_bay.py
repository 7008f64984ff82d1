"""A whole job on a simulated bay, in simulated time: from requests alone, with real results.

The vehicles are invented; the truth is the simulator's, which shares no geometry with what is
tested.
"""

import json
from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from ingest.commands.demo_network import network_truths
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.course.events import Disturbed
from ingest.job.course.job import Phase
from ingest.job.course.tasks import Doing
from ingest.simulator.practice import Trouble
from ingest.simulator.taping import station_of
from ingest.simulator.truth import steering_truth, vehicle_truth
from ingest.simulator.vehicle import WheelAt
from tools.rehearsal.hands import JobOnABay


@pytest.fixture(scope="module", params=[(3, "rigid-8x4"), (5, "tractor-and-trailer")])
def done(request):
    return JobOnABay(*request.param).run()


def test_the_job_is_finished_and_every_axle_was_found(done):
    assert done.job.phase is Phase.OVER
    assert done.job.closed.finished
    for axle in done.bay.demo.rig.vehicle.axles:
        for topic in (f"axle/{axle}/left/camber", f"axle/{axle}/both/heading"):
            assert topic in done.job.found


def test_what_was_found_agrees_with_the_truth_within_its_uncertainty(done):
    """Each result within the 99.9 % band of its own U, divided by their number (Bonferroni)."""
    known = network_truths(done.bay.demo, done.bay.topics)
    found = {
        topic: reading
        for topic, reading in done.job.found.items()
        if f"{done.bay.topics.root}/{topic}" in known and reading.u > 0.0
    }
    assert len(found) >= 4 * len(done.bay.demo.rig.vehicle.axles)
    most = stats.norm.ppf(1.0 - 0.001 / 2.0 / len(found))
    for topic, reading in found.items():
        error = reading.value - known[f"{done.bay.topics.root}/{topic}"]
        assert abs(error) < most * reading.u, f"{topic}: {error / DEG:.4f} deg"


def test_the_steering_was_swept_and_caster_agrees_with_the_truth(done):
    vehicle = done.bay.demo.rig.vehicle
    swept = [topic for topic in done.job.found if topic.endswith("/caster")]
    assert len(swept) >= 2
    for topic in swept:
        _, axle, side, _ = topic.split("/")
        reading = done.job.found[topic]
        true = steering_truth(vehicle, WheelAt(int(axle), Side(side))).caster_rad
        assert abs(reading.value - true) < 4.0 * reading.u, topic


def test_results_bear_job_and_limits(done):
    said = [
        json.loads(payload)
        for topic, payload, _, _ in done.bay.outlet.messages
        if "/axle/" in topic and payload
    ]
    judged = [each for each in said if each["job"] == done.work.name and each["dec"] != "none"]
    assert judged
    assert all(each["lo"] is not None or each["hi"] is not None for each in judged)
    assert {each["rule"] for each in judged} == {"guard-u"}


def test_distances_between_hubs_are_foretold_as_a_tape_would_read_them(done):
    """Against the simulator's own hubs, within three times the stated uncertainty."""
    vehicle = done.bay.demo.rig.vehicle
    wheels = vehicle_truth(vehicle, done.bay.clock.now_s).wheels
    hub = {station_of(wheel): np.array(true.hub_m) for wheel, true in wheels.items()}
    told = [(line, done.bay.bay.network.foretold(*line)) for line in combinations(sorted(hub), 2)]
    told = [(line, each) for line, each in told if each is not None]
    assert len(told) >= 4
    for (one, other), each in told:
        true_m = float(np.linalg.norm(hub[one] - hub[other]))
        assert abs(each.value - true_m) < 3.0 * each.u, (one, other)


def test_in_a_job_that_nobody_disturbs_nobody_is_alarmed(done):
    assert not [event for event in done.work.events() if isinstance(event.what, Disturbed)]


def test_nor_where_adjusters_are_turned(aligned):
    assert not [event for event in aligned.work.events() if isinstance(event.what, Disturbed)]


def test_the_run_out_of_every_mounting_is_kept(done):
    turned = [axle for t in done.job.tasks if t.doing is Doing.TURN for axle in t.axles]
    assert len(done.job.runouts) == 2 * len(turned)
    assert all(each.record for each in done.job.runouts)


def test_opening_a_job_clears_the_results_of_the_one_before(done):
    outlet, root = done.bay.outlet, done.bay.topics.root
    before = [topic for topic in outlet.retained if topic.startswith(f"{root}/axle/")]
    assert before
    done.ask("job-open", vehicle="rigid-4x2", limits="general", order="W-2")
    after = [topic for topic in outlet.retained if topic.startswith(f"{root}/axle/")]
    assert not after


@pytest.fixture(scope="module")
def aligned():
    troubles = (Trouble.SKEWED_AXLES, Trouble.TOE)
    job = JobOnABay(11, "rigid-8x4", "pellowmere-17", troubles, sweeps=False)
    return job.run()


def test_published_advice_alone_brings_a_skewed_vehicle_home(aligned):
    """Judged by the simulator's truth: what was outside is inside, by limits that are invented."""
    truth = aligned.truth()
    assert aligned.job.closed.finished
    turned = {topic for each in aligned.job.adjustments for topic in each.task.topics}
    assert {aligned.job.found[topic].decision for topic in turned} >= {"outside"}
    assert aligned.job.left["axle/4/both/heading"].decision == "inside"
    for topic in turned:
        left = aligned.job.left[topic]
        assert left.decision != "outside", topic
        assert left.limit.low <= truth[topic] <= left.limit.high, topic


def test_the_value_that_is_turned_is_followed_while_it_moves(aligned):
    """The last value told before the axle rested is near what was then measured at rest."""
    told = aligned.bay.outlet.of(aligned.bay.topics.job("live"))
    heading = [each for each in told if each["topic"] == "axle/4/both/heading"]
    assert {each["moving"] for each in heading} == {True, False}
    assert all(each["q"] == "uncertain" for each in heading if each["moving"])
    first, last = heading[0], heading[-1]
    assert first["dec"] == "outside"
    assert abs(last["value"]) < abs(first["value"])
    left = aligned.job.left["axle/4/both/heading"]
    assert last["value"] == pytest.approx(left.value / DEG, abs=left.U / DEG + last["U"])
    assert last["go"] == pytest.approx(-last["value"], abs=10.0 ** -last["dp"])
    assert any("shim pack" in each["todo"] for each in heading)
    assert all(each["lag_ms"] > 0.0 for each in heading)


def test_what_is_left_agrees_with_the_truth_within_its_uncertainty(aligned):
    truth, job = aligned.truth(), aligned.job
    left = {t: job.left_of(t) for t in {*job.found, *job.left} if t in truth}
    left = {t: r for t, r in left.items() if r is not None and r.u > 0.0}
    assert len(left) > 20
    most = stats.norm.ppf(1.0 - 0.001 / 2.0 / len(left))
    for topic, reading in left.items():
        assert abs(reading.value - truth[topic]) < most * reading.u, topic


@pytest.fixture(scope="module")
def leaning():
    troubles = (Trouble.CASTER, Trouble.STEERING_WHEEL)
    return JobOnABay(6, "rigid-4x2", "pellowmere-17", troubles).run()


CASTERS = ("axle/1/left/caster", "axle/1/right/caster")
LOCKS = ("axle/1/left/lock-angle", "axle/1/right/lock-angle")


def test_published_advice_alone_brings_a_leaning_steer_axle_home(leaning):
    """Wedges by the first sweep, proved by the next; judged by the simulator's truth."""
    job, truth = leaning.job, leaning.truth()
    assert job.closed.finished
    for topic in CASTERS:
        found, left = job.found[topic], job.left[topic]
        assert (found.decision, left.decision) == ("outside", "inside")
        assert left.limit.low <= truth[topic] <= left.limit.high
        assert abs(left.value - truth[topic]) < 4.0 * left.u, topic
    (wedged,) = [each for each in job.adjustments if each.task.quantity == "caster"]
    assert len(wedged.advice) == 2
    assert all("fit one wedge" in line for line in wedged.advice)


def test_the_steering_wheel_is_left_straight(leaning):
    """By the truth of the steering wheel itself, which no head sees: limits of its vehicle."""
    found, left = (at["axle/1/both/heading"] for at in (leaning.job.found, leaning.job.left))
    assert (found.decision, left.decision) == ("outside", "inside")
    assert abs(leaning.truth()["vehicle/steering-wheel"]) < 1.5 * DEG


def test_lock_angles_are_those_at_the_stops(leaning):
    """Read once more since the tie rod and drag link were turned: the truth lies within 4 u."""
    truth = leaning.truth()
    for topic in LOCKS:
        left = leaning.job.left[topic]
        assert abs(left.value - truth[topic]) < 4.0 * left.u, topic
        assert left.decision == "inside"


def test_what_was_skipped_with_the_sweep_is_neither_turned_nor_proved(aligned):
    job = aligned.job
    gone = [t for t in job.tasks if t.doing is Doing.RESWEEP or not t.is_seen]
    assert {t.quantity for t in gone if not t.is_seen} == {"caster", "lock_angle"}
    assert all("no turn plates today" in job.marks[t.id].skipped for t in gone)
