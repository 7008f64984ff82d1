"""The main job in simulated time, from bytes to results, against the simulator's truth.

The simulator shares no geometry with what is tested; the vehicles are invented.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from calibration.measured import covariance
from ingest.commands.demo_rig import HEADS
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.service.bayhead import Wheel
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt
from ingest.wire.framing import frame
from ingest.wire.hello import ChannelInfo
from ingest.wire.messages import encode
from tools.rehearsal.turning import turn


def measure(bay, axles, stops=3):
    """Turn and settle the wheels of two axles; return the unrounded results by topic."""
    demo = bay.demo
    wheels = [WheelAt(axle, side) for axle in axles for side in Side]
    on = dict(zip(wheels, HEADS, strict=False))
    for wheel, name in on.items():
        demo.technician.mount(demo.heads[name], wheel)
        bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
    for axle in axles:
        demo.technician.jack(axle)
    bay.advance(2.5)
    for side in Side:
        turn(bay, {wheel: on[wheel] for wheel in wheels if wheel.side is side}, stops)
    for axle in axles:
        demo.technician.lower(axle)
    bay.advance(6.0)
    found = bay.bay.work.results.standing
    for name in on.values():
        demo.technician.dismount(demo.heads[name])
        bay.bay.put_on(bay.head(name), None)
    bay.advance(0.5)
    return found


def truths(bay):
    truth = vehicle_truth(bay.demo.rig.vehicle, 0.0)
    known = {}
    for wheel, each in truth.wheels.items():
        known[bay.topics.axle(wheel.axle, wheel.side.value, "camber")] = each.camber_rad
    for number, axle in truth.axles.items():
        known[bay.topics.axle(number, "both", "total-toe")] = axle.total_toe_rad
    return known


@pytest.mark.parametrize(("seed", "vehicle"), [(1, "rigid-8x4"), (3, "tractor-and-trailer")])
def test_results_agree_with_the_truth_within_their_uncertainties(simulated_bay, seed, vehicle):
    bay = simulated_bay(seed, vehicle)
    found, known = measure(bay, [1, 2]) | measure(bay, [3, 4]), truths(bay)
    cambers = {topic for topic in known if topic.endswith("camber") and "axle/5" not in topic}
    assert cambers <= set(found)
    errors = np.array([each.value - known[topic] for topic, each in found.items()])
    spread = covariance(list(found.values()))
    chi2 = errors @ np.linalg.solve(spread, errors)
    low, high = stats.chi2.ppf([1e-4, 1 - 1e-4], len(found))
    assert low < chi2 < high
    for each in found.values():
        assert "assumed spread of the bay" in each.stands_on
        assert any(name.startswith("cal-") for name in each.stands_on)
        assert each.u_shared > 0.0


def test_without_a_record_results_are_marked_uncalibrated(simulated_bay):
    bay = simulated_bay(6, with_records=False)
    measure(bay, [1, 2])
    message = bay.outlet.of(bay.topics.axle(1, "left", "camber"))[0]
    assert (message["q"], message["why"], message["cal"]) == ("uncertain", "uncalibrated", None)
    assert message["U"] > 0.5


def test_an_unknown_channel_is_named_and_the_others_are_used(simulated_bay):
    bay = simulated_bay(7)
    head = bay.head("alder")
    odd = ChannelInfo(code=9, kind=1, unit=0x2763, exponent=-4, rate_dhz=1000, low=0, high=1)
    hello = replace(head.hello, channels=(*head.hello.channels, odd))
    bay.give("alder", frame(encode(hello)))
    alert = bay.outlet.retained[bay.topics.alert("channels-alder")]
    assert "cannot be used (9: unknown code); others are used" in alert["text"]
    before = len(bay.outlet.of(bay.topics.reading("alder", Channel.INCL_Y)))
    bay.advance(3.0)
    assert len(bay.outlet.of(bay.topics.reading("alder", Channel.INCL_Y))) > before
