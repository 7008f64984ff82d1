"""A steering sweep from live heads, from bytes to results, against the simulator's truth.

The simulator turns each knuckle about its own inclined axis, rolls the beam as caster makes it
roll, and shares no geometry with what is tested. Heads, plates and vehicles are invented.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from calibration.measured import covariance
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.payload.cmd import SweepBegin, SweepEnd
from ingest.service.bayhead import Wheel
from ingest.service.baysettings import BaySettings
from ingest.service.sweepfit import SweepSettings
from ingest.simulator.technician import Pace
from ingest.simulator.truth import steering_truth, wheel_truth
from ingest.simulator.vehicle import WheelAt

LEFT, RIGHT = WheelAt(1, Side.LEFT), WheelAt(1, Side.RIGHT)
ON = {"alder": LEFT, "birch": RIGHT}
STRAIGHT_DEG = 0.3
BAND = (5e-4, 1.0 - 5e-4)
"""99.9 %."""


class Swept:
    """A bay whose axle 1 is compensated, let down, and steered about straight ahead by hand."""

    def __init__(self, simulated_bay, seed, locked=True, off_deg=0.0):
        settings = BaySettings(sweep=SweepSettings(straight_deg=STRAIGHT_DEG, play_deg=0.0))
        self.bay = simulated_bay(seed, settings=settings, rate_hz=20.0)
        for name in set(self.bay.demo.ptys) - set(ON):
            del self.bay.demo.ptys[name]
        self.technician = self.bay.demo.technician
        self.compensate()
        if off_deg:
            self.bay.advance(self.technician.steer(1, off_deg * DEG).wait_s)
        for name in ON if locked else ():
            self.bay.demo.rig.lock(self.bay.demo.heads[name], self.bay.clock.now_s + 0.2)
        self.bay.advance(4.0)

    def compensate(self):
        for name, wheel in ON.items():
            self.technician.mount(self.bay.demo.heads[name], wheel)
            self.bay.bay.put_on(self.bay.head(name), Wheel(wheel.axle, wheel.side))
        self.technician.jack(1)
        self.bay.advance(2.5)
        for name in ON:
            assert self.bay.bay.work.begin(self.bay.head(name)).ok
        for steps in zip(*(self.technician.stops(w, 3) for w in ON.values()), strict=True):
            self.bay.advance(max(step.wait_s for step in steps) + 0.6)
            for name in ON:
                while not self.bay.bay.work.take_stop(self.bay.head(name)).ok:
                    self.bay.advance(0.5)
        for name in ON:
            assert self.bay.bay.work.end(self.bay.head(name)).ok
        self.technician.lower(1)
        self.bay.advance(6.0)

    def begin(self):
        return self.bay.bay.sweeping.begin(1, list(self.bay.bay.heads.values()))

    def steer(self):
        for step in self.technician.sweep(1, 20.2 * DEG):
            self.bay.advance(step.wait_s)

    def sweep(self):
        done = self.begin()
        assert done.ok, done
        self.steer()
        return self.bay.bay.sweeping.end(1)

    @property
    def found(self):
        return self.bay.bay.work.sweeps.standing

    def topic(self, *place):
        return f"{self.bay.topics.root}/axle/1/{'/'.join(place)}"

    def said(self, *place):
        return self.bay.outlet.retained.get(self.topic(*place))

    def guided(self, name="alder"):
        return self.bay.outlet.of(self.bay.topics.head_sweep(name))


def test_caster_and_sai_of_swept_axles_agree_with_the_truth(simulated_bay):
    chi2, seeds = 0.0, (1, 2, 5)
    for seed in seeds:
        off_deg = float(np.random.default_rng(seed).normal(0.0, STRAIGHT_DEG))
        axle = Swept(simulated_bay, seed, off_deg=off_deg)
        assert axle.sweep().ok
        vehicle, now_s = axle.bay.demo.rig.vehicle, axle.bay.clock.now_s
        for wheel in ON.values():
            true, side = steering_truth(vehicle, wheel), wheel.side.value
            # The sweep ends straight ahead, where the steering began for the simulator.
            camber = wheel_truth(vehicle, wheel, now_s).camber_rad
            known = {
                "caster": true.caster_rad,
                "sai": true.sai_rad,
                "included-angle": true.sai_rad + camber,
            }
            for name, value in known.items():
                each, said = axle.found[axle.topic(side, name)], axle.said(side, name)
                assert abs(each.value - value) < stats.norm.ppf(BAND[1]) * each.u
                assert each.u < 0.08 * DEG
                assert (said["q"], said["against"]) == ("good", "gravity")
                assert "steering sweep" in each.stands_on
        pair = [axle.found[axle.topic("left", name)] for name in ("caster", "sai")]
        true = steering_truth(vehicle, LEFT)
        errors = np.array([pair[0].value - true.caster_rad, pair[1].value - true.sai_rad])
        chi2 += float(errors @ np.linalg.solve(covariance(pair), errors))
    low, high = stats.chi2.ppf(BAND, 2 * len(seeds))
    assert low < chi2 < high


def test_guidance_troubles_results_and_what_takes_them_back(simulated_bay):
    axle = Swept(simulated_bay, 3)
    bay = axle.bay
    assert bay.bay.sweeping.end(1).code == "not-sweeping"
    assert axle.begin().ok
    assert axle.begin().code == "already-sweeping"
    assert axle.said("left", "camber")["why"] == "sweeping"
    # Too fast, not far enough, and off the plates, so that the steering is not read.
    technician, hurry = axle.technician, replace(Pace(), steer_deg_per_s=12.0)
    technician._pace = hurry
    bay.advance(technician.steer(1, 10.0 * DEG).wait_s + 1.0)
    bay.advance(technician.steer(1, 0.0).wait_s + 1.0)
    technician.jack(1)
    bay.advance(2.0)
    told = axle.guided()
    assert {each["trouble"] for each in told} >= {"too-fast", "sightline-lost"}
    assert told[-1]["steer"] is None
    technician.lower(1)
    bay.advance(6.0)
    refused = bay.bay.sweeping.end(1)
    assert not refused.ok
    assert axle.guided()[-1]["state"] == "refused"
    assert axle.guided()[-1]["why"] in ("span", "too-few-positions")
    technician._pace = Pace()
    # A good one, by the turns of its guidance.
    assert axle.sweep().ok
    told = [each for each in axle.guided() if each["id"] == "st-2" and each["state"] == "sweeping"]
    needs = [each["need"] for each in told]
    assert needs == sorted(
        needs, key=["steer-left", "steer-right", "back-to-straight-ahead", ""].index
    )
    assert set(needs) >= {"steer-left", "steer-right", "back-to-straight-ahead"}
    assert {each["trouble"] for each in told} == {""}
    # The plate turns by the upright share of 20.2 deg, and reads it with errors of its own.
    assert max(each["left"] for each in told) == pytest.approx(20.05, abs=0.5)
    done = axle.guided()[-1]
    assert (done["state"], done["q"]) == ("done", "good")
    # What both wheels give together, against what the simulator's linkage does.
    vehicle = bay.demo.rig.vehicle
    for inner in Side:
        said = axle.said("both", f"toe-out-{inner.value}")
        assert abs(said["value"] - toe_out_deg(vehicle, inner)) < said["U"] < 0.5
        turned = axle.said(inner.value, f"turning-angle-{inner.value}")
        assert abs(turned["value"] - 20.1) < 2.0 * turned["U"]
    cross = axle.found[axle.topic("both", "cross-caster")]
    sides = [axle.found[axle.topic(side.value, "caster")] for side in Side]
    assert cross.value == pytest.approx(sides[0].value - sides[1].value, abs=1e-12)
    # Moved, and back as it was: said again. Taken off: kept. Turned: gone.
    bay.demo.rig.knock(LEFT, bay.clock.now_s + 0.2, 2.0 * DEG)
    bay.demo.rig.unlock(bay.demo.heads["alder"], bay.clock.now_s + 0.2)
    bay.advance(1.0)
    assert (axle.said("left", "sai")["q"], axle.said("left", "sai")["why"]) == ("stale", "moving")
    assert axle.topic("both", "cross-sai") not in axle.found
    bay.advance(6.0)
    assert (axle.said("left", "sai")["q"], axle.said("left", "sai")["why"]) == ("good", "")
    assert axle.topic("both", "cross-sai") in axle.found
    bay.bay.put_on(bay.head("birch"), None)
    assert axle.said("right", "caster")["why"] == "unwatched"
    technician.jack(1)
    bay.advance(6.0)
    assert axle.said("left", "caster")["q"] == "stale"
    assert axle.topic("left", "caster") not in axle.found
    assert bay.bay.work.begin(bay.head("alder")).ok
    assert axle.said("left", "caster")["why"] in ("moved", "turning")


def toe_out_deg(vehicle, inner):
    """The linkage of the simulator: cot(outer) = cot(inner) + kingpin spacing over wheelbase."""
    axle = vehicle.axles[1]
    rear = np.mean([each.x_m for each in vehicle.axles.values() if not each.steered])
    ratio = (axle.track_m - 2.0 * axle.kingpin_inset_m) / (axle.x_m - rear)
    outer = np.arctan(1.0 / (1.0 / np.tan(20.0 * DEG) + ratio))
    return 20.0 - outer / DEG


def test_heads_that_hang_give_caster_alone(simulated_bay):
    axle = Swept(simulated_bay, 6, locked=False)
    begun = axle.begin()
    assert "not locked: caster alone" in begun.text
    axle.steer()
    assert axle.bay.bay.sweeping.end(1).ok
    assert axle.said("left", "sai") is None
    true = steering_truth(axle.bay.demo.rig.vehicle, LEFT)
    found = axle.found[axle.topic("left", "caster")]
    assert abs(found.value - true.caster_rad) < stats.norm.ppf(BAND[1]) * found.u


def test_a_sweep_needs_both_wheels_compensated_and_at_rest(simulated_bay):
    bay = simulated_bay(8)
    heads = list(bay.bay.heads.values())
    assert bay.bay.sweeping.begin(1, heads).code == "not-mounted"
    for name, wheel in ON.items():
        bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
    refused = bay.bay.sweeping.begin(1, heads)
    assert (refused.ok, refused.code) == (False, "refused")
    assert "run-out of alder is not known" in refused.text


def test_what_a_sweep_would_be_refused_for_is_known_before_it_is_asked_for(simulated_bay):
    bay = simulated_bay(8)
    sweeping, heads = bay.bay.sweeping, list(bay.bay.heads.values())
    assert sweeping.lacks(1, heads) == ("head on axle 1 left", "head on axle 1 right")
    for name, wheel in ON.items():
        bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
    assert sweeping.lacks(1, heads) == ("run-out of axle 1 left", "run-out of axle 1 right")
    axle = Swept(simulated_bay, 8)
    sweeping, heads = axle.bay.bay.sweeping, list(axle.bay.bay.heads.values())
    assert sweeping.lacks(1, heads) == ()
    assert axle.begin().ok
    assert sweeping.lacks(1, heads) == ()  # one goes on: it is not to be begun
    axle.steer()
    assert sweeping.end(1).ok
    axle.technician.steer(1, 15.0 * DEG)
    axle.bay.advance(1.5)
    assert sweeping.lacks(1, heads)
    assert set(sweeping.lacks(1, heads)) <= {"rest of axle 1 left", "rest of axle 1 right"}
    assert axle.begin().code == "head-moving"
    axle.bay.advance(6.0)
    axle.bay.advance(axle.technician.steer(1, 0.0).wait_s + 6.0)
    assert sweeping.lacks(1, heads) == ()
    assert axle.begin().ok


def test_the_commands_name_an_axle():
    assert SweepBegin.decode(b'{"id":"a","axle":1}').axle == 1
    assert SweepEnd.decode(b'{"id":"a","axle":2}').axle == 2
