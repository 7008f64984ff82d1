"""A head that is fixed to its wheel, from bytes to camber, against the simulator's truth."""

import json

import numpy as np
import pytest

from calibration.records.text import dump_record, load_record
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.service.bayhead import Wheel
from ingest.simulator.truth import wheel_truth
from ingest.simulator.vehicle import WheelAt

LEFT, RIGHT = (WheelAt(1, side) for side in Side)


def mount(bay):
    demo = bay.demo
    for name, wheel in (("alder", LEFT), ("birch", RIGHT)):
        demo.technician.mount(demo.heads[name], wheel)
        bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
    demo.technician.jack(1)
    bay.advance(2.5)


def turn(bay, name, wheel, stops=4):
    assert bay.bay.work.begin(bay.head(name)).ok
    for step in bay.demo.technician.stops(wheel, stops):
        bay.advance(step.wait_s + 0.6)
    return bay.bay.work.end(bay.head(name))


def standing(bay, topic, tries=8):
    """Return a result; a spike in the stream may have made it stale for a moment."""
    while topic not in bay.bay.work.results.standing and tries:
        bay.advance(0.5)
        tries -= 1
    return bay.bay.work.results.standing[topic]


def test_camber_of_settled_wheels_agrees_with_the_truth(fixed_bay):
    ratios = []
    for seed in (1, 2, 3):
        bay = fixed_bay(seed)
        mount(bay)
        for name, wheel in (("alder", LEFT), ("birch", RIGHT)):
            done = turn(bay, name, wheel)
            assert done.ok, done.text
        bay.demo.technician.lower(1)
        bay.advance(6.0)
        for wheel in (LEFT, RIGHT):
            found = standing(bay, bay.topics.axle(1, wheel.side.value, "camber"))
            true_rad = wheel_truth(bay.demo.rig.vehicle, wheel, bay.clock.now_s).camber_rad
            ratios.append((found.value - true_rad) / found.u)
            assert found.u < 0.05 * DEG
    assert np.max(np.abs(ratios)) < 3.0


def test_a_turn_gives_the_camber_during_it_and_no_heading(fixed_bay):
    bay = fixed_bay(4)
    mount(bay)
    assert turn(bay, "alder", LEFT).ok
    said = bay.outlet.retained[bay.topics.head_runout("alder")]
    true_rad = wheel_truth(bay.demo.rig.vehicle, LEFT, bay.clock.now_s).camber_rad
    assert (said["state"], said["q"], said["heading"], said["ecc_mm"]) == (
        "done",
        "good",
        None,
        None,
    )
    assert said["camber"] == pytest.approx(true_rad / DEG, abs=0.05)
    assert bay.topics.axle(1, "both", "total-toe") not in bay.outlet.retained


def test_two_stops_are_refused_with_the_figure(fixed_bay):
    bay = fixed_bay(5)
    mount(bay)
    work, head = bay.bay.work, bay.head("alder")
    work.begin(head)
    steps = bay.demo.technician.stops(LEFT, 4)
    for _ in range(2):
        bay.advance(next(steps).wait_s + 0.6)
    done = work.end(head)
    said = bay.outlet.retained[bay.topics.head_runout("alder")]
    assert (done.ok, done.code) == (False, "refused")
    assert (said["state"], said["figure"], said["limit"]) == ("refused", 2, 3)


def test_the_record_of_a_fixed_head_is_read_back(three_axes):
    record = load_record(three_axes(1, 1, "alder"), "made here")
    assert record.tilt is not None
    assert len(record.tilt.bias_deg) == 3
    assert json.loads(dump_record(record))["encoders"] == {}
