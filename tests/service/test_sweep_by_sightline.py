"""Sweeps whose steering is read along the vehicle, by heads that see heads on an axle that stands.

Plates read nothing. The simulator turns knuckles and ports in space and shares no geometry with
what is tested; it puts the kingpins where nobody tells the service.
"""

import functools
import json
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from calibration.measured import covariance
from ingest.commands import demo_rig
from ingest.commands.demo_network import network_files
from ingest.commands.demo_rig import build
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.service.bay import BaySettings
from ingest.service.bayhead import Wheel
from ingest.service.network import NetworkSettings
from ingest.service.sweepfit import SweepSettings, compared, fit_swept
from ingest.simulator.draws import draw_head
from ingest.simulator.truth import steering_truth
from ingest.simulator.vehicle import WheelAt
from tests.service.test_whole_vehicle import turn

ON = {
    WheelAt(1, Side.LEFT): "alder",
    WheelAt(1, Side.RIGHT): "birch",
    WheelAt(2, Side.LEFT): "cedar",
    WheelAt(2, Side.RIGHT): "dogwood",
}
BAND = (5e-4, 1.0 - 5e-4)
"""99.9 %."""


def drawn(view_deg, plates, seed, name):
    head = draw_head(seed, name)
    lacks = frozenset() if plates else frozenset({Channel.STEER})
    return replace(head, design=replace(head.design, lacks=lacks, view_rad=view_deg * DEG))


class Swept:
    """A bay with heads on both steered axles, all compensated; axle 1 is to be swept."""

    def __init__(self, simulated_bay, monkeypatch, seed, *, view_deg=30.0, plates=False):
        maker = functools.partial(drawn, view_deg, plates)
        monkeypatch.setattr(demo_rig, "draw_head", maker)
        files = network_files(build(seed, "rigid-8x4", lambda: 0.0))
        settings = BaySettings(
            sweep=SweepSettings(play_deg=0.0, kingpin_m=0.26, u_kingpin_m=0.01),
            network=NetworkSettings(files),
        )
        self.bay = simulated_bay(seed, settings=settings, rate_hz=20.0)
        self.technician = self.bay.demo.technician
        for wheel, name in ON.items():
            self.technician.mount(self.bay.demo.heads[name], wheel)
            self.bay.bay.put_on(self.bay.head(name), Wheel(*wheel))
        for axle in (1, 2):
            self.technician.jack(axle)
        self.bay.advance(2.5)
        for side in Side:
            turn(self.bay, {w: n for w, n in ON.items() if w.side is side}, 3)
        for axle in (1, 2):
            self.technician.lower(axle)
        self.bay.advance(26.0)
        for name in ("alder", "birch"):
            self.bay.demo.rig.lock(self.bay.demo.heads[name], self.bay.clock.now_s + 0.2)
        self.bay.advance(4.0)

    def begin(self):
        return self.bay.bay.sweeping.begin(1, list(self.bay.bay.heads.values()))

    def end(self):
        return self.bay.bay.sweeping.end(1)

    def steer(self):
        for step in self.technician.sweep(1, 20.2 * DEG):
            self.bay.advance(step.wait_s)

    def topic(self, *place):
        return f"{self.bay.topics.root}/axle/1/{'/'.join(place)}"

    def guided(self):
        return self.bay.outlet.of(self.bay.topics.head_sweep("alder"))


def sweeping(axle):
    return [each for each in axle.guided() if each["state"] == "sweeping"]


@pytest.mark.parametrize("seed", [1, 4])
def test_caster_and_sai_by_sightlines_agree_with_the_truth(simulated_bay, monkeypatch, seed):
    axle = Swept(simulated_bay, monkeypatch, seed)
    assert axle.begin().ok
    axle.steer()
    done = axle.end()
    assert done.ok, done
    assert {each["by"] for each in sweeping(axle)} == {"azimuth_track"}
    assert {each["trouble"] for each in sweeping(axle)} == {""}
    found, chi2 = axle.bay.bay.work.sweeps.standing, 0.0
    for wheel in list(ON)[:2]:
        true, side = steering_truth(axle.bay.demo.rig.vehicle, wheel), wheel.side.value
        pair = [found[axle.topic(side, name)] for name in ("caster", "sai")]
        errors = np.array([pair[0].value - true.caster_rad, pair[1].value - true.sai_rad])
        # 10 mm of the kingpin's place are worth 0.03 deg of caster; SAI does not depend on it.
        assert pair[0].u < 0.08 * DEG
        assert pair[1].u < 0.03 * DEG
        assert np.all(np.abs(errors) < stats.norm.ppf(BAND[1]) * np.array([p.u for p in pair]))
        chi2 += float(errors @ np.linalg.solve(covariance(pair), errors))
    # Both sides share the axle's roll: less than four degrees of freedom, so the upper end alone.
    assert chi2 < stats.chi2.ppf(BAND[1], 4)


def test_a_lost_sightline_is_said_and_what_to_do(simulated_bay, monkeypatch):
    axle = Swept(simulated_bay, monkeypatch, 2, view_deg=14.0)
    toes = {axle.topic("both", "total-toe")}
    assert toes <= set(axle.bay.bay.network.standing)
    assert axle.begin().ok
    lost, network = [], set()
    for goal in (20.0, 8.0, -8.0, 0.0):
        axle.bay.advance(axle.technician.steer(1, goal * DEG).wait_s + 4.0)
        lost.append(axle.guided()[-1]["trouble"] == "sightline-lost")
        network |= set(axle.bay.bay.network.standing) & toes
    assert lost == [True, False, False, False]
    said = [each for each in sweeping(axle) if each["trouble"] == "sightline-lost"]
    assert said[-1]["steer"] is None
    assert "steer back" in said[-1]["do"]
    assert max(each["left"] for each in sweeping(axle)) == pytest.approx(14.0, abs=1.5)
    # A wheel that paused at 8 deg told the network nothing, nor did the one straight ahead yet.
    assert network == set()
    told = [json.loads(p) for t, p, *_ in axle.bay.outlet.messages if "/svc/alert/net" in t and p]
    assert "warning" not in {each["level"] for each in told}
    axle.bay.advance(axle.technician.steer(1, 3.0 * DEG).wait_s + 4.0)
    assert axle.end().ok
    axle.bay.advance(4.0)
    assert not set(axle.bay.bay.network.standing) & toes
    axle.bay.advance(axle.technician.steer(1, 0.0).wait_s + 5.0)
    assert toes <= set(axle.bay.bay.network.standing)


def test_a_plate_and_a_sightline_are_compared(simulated_bay, monkeypatch):
    axle = Swept(simulated_bay, monkeypatch, 3, plates=True)
    assert axle.begin().ok
    part = axle.bay.bay.sweeping._sweeps[1].parts[Side.LEFT]
    assert {part.by.channel, part.second.channel} == {Channel.STEER, Channel.AZIMUTH_TRACK}
    axle.steer()
    wheels = {
        side: each.swept(side) for side, each in axle.bay.bay.sweeping._sweeps[1].parts.items()
    }
    beside = part.swept_beside(Side.LEFT)
    swept = fit_swept(wheels, axle.bay.bay.sweeping._settings)
    assert compared(swept, wheels, {Side.LEFT: beside}) == ""
    off = replace(beside, steer_rad=1.2 * beside.steer_rad)
    assert "left: " in compared(swept, wheels, {Side.LEFT: off})
    done = axle.end()
    assert done.ok
    assert "doubtful" not in done.text


def test_a_wheel_that_sees_nothing_is_told_what_to_mount(simulated_bay, monkeypatch):
    axle = Swept(simulated_bay, monkeypatch, 5, view_deg=0.5)
    refused = axle.begin()
    assert (refused.ok, refused.code) == (False, "refused")
    assert "mount a head along the vehicle" in refused.text
