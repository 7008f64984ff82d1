"""Heads moved from axle to axle fill a vehicle's network; held against the simulator's truth.

The simulator shares no geometry with what is tested; the vehicles are invented.
"""

import json
import re
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from calibration.measured import covariance
from ingest.commands.demo_network import network_files, network_truths, set_ups
from ingest.commands.demo_rig import HEADS, build
from ingest.core.channels import ROW, Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.service.bayhead import Wheel
from ingest.service.baysettings import BaySettings
from ingest.service.bayspread import SpreadSettings
from ingest.service.network import NetworkSettings
from ingest.service.sightlines import port_of
from ingest.service.transcript import SETTINGS
from ingest.service.wheelsettings import WheelSettings
from ingest.service.workings import WorkSettings
from ingest.simulator.vehicle import WheelAt
from tools.rehearsal.turning import turn

BAND = (5e-4, 1.0 - 5e-4)
"""99.9 %."""


class Job:
    """A vehicle whose heads are moved along, two pairs at a time; the rear pair stays."""

    def __init__(self, simulated_bay, seed, vehicle):
        files = network_files(build(seed, vehicle, lambda: 0.0))
        settings = BaySettings(network=NetworkSettings(files))
        self.bay = simulated_bay(seed, vehicle, settings=settings, rate_hz=50.0)
        self.vehicle = vehicle
        self.on = {}

    def mount(self, axle):
        free = [name for name in HEADS if name not in self.on.values()]
        for side, name in zip(Side, free, strict=False):
            self.on[WheelAt(axle, side)] = name
            self.bay.demo.technician.mount(self.bay.demo.heads[name], WheelAt(axle, side))
            self.bay.bay.put_on(self.bay.head(name), Wheel(axle, side))

    def dismount(self, axle):
        for wheel in [wheel for wheel in self.on if wheel.axle == axle]:
            name = self.on.pop(wheel)
            self.bay.demo.technician.dismount(self.bay.demo.heads[name])
            self.bay.bay.put_on(self.bay.head(name), None)

    def compensate(self, *axles):
        for axle in axles:
            self.bay.demo.technician.jack(axle)
        self.bay.advance(2.5)
        for side in Side:
            at = {w: n for w, n in self.on.items() if w.side is side and w.axle in axles}
            turn(self.bay, at, 3)
        for axle in axles:
            self.bay.demo.technician.lower(axle)
        self.bay.advance(6.0)

    def set_up(self, *axles):
        for axle in {wheel.axle for wheel in self.on} - set(axles):
            self.dismount(axle)
        self.bay.advance(0.5)
        fresh = [axle for axle in axles if axle not in {wheel.axle for wheel in self.on}]
        for axle in fresh:
            self.mount(axle)
        self.compensate(*fresh)

    def whole(self):
        for axles in set_ups(self.vehicle):
            self.set_up(*axles)
        return self

    def found(self):
        return self.bay.bay.network.standing

    def said(self, *place):
        topic = f"{self.bay.topics.root}/{'/'.join(map(str, place))}"
        return self.bay.outlet.retained.get(topic)


def chi_square(found, known):
    """Return e' C^+ e of results that hang together, and their number less what is so anyway.

    An axle's heading is the half difference of its toes, and so on: the covariance is singular.
    """
    topics = sorted(found)
    u = np.array([found[topic].u for topic in topics])
    errors = np.array([found[topic].value - known[topic] for topic in topics]) / u
    values, vectors = np.linalg.eigh(
        covariance([found[topic] for topic in topics]) / np.outer(u, u)
    )
    # Results are told again only when they change by a fiftieth of u: no finer than that.
    real = values > 0.01
    z = (vectors.T @ errors)[real] / np.sqrt(values[real])
    off = vectors[:, ~real].T @ errors
    assert np.abs(off).max() < 0.5, "what follows from each other does not"
    return float(z @ z), int(real.sum())


WHOLE = [(1, "rigid-8x4"), (2, "tractor-and-trailer")]


@pytest.mark.parametrize(("seed", "vehicle"), WHOLE)
def test_all_axles_agree_with_the_truth_within_their_uncertainties(simulated_bay, seed, vehicle):
    job = Job(simulated_bay, seed, vehicle).whole()
    found, known = job.found(), network_truths(job.bay.demo, job.bay.topics)
    so_by_definition = {topic for topic in known if topic not in found}
    assert all(topic.split("/")[-1] in ("scrub", "lateral-offset") for topic in so_by_definition)
    assert all(abs(known[topic]) < 1e-12 for topic in so_by_definition)
    chi2, n = chi_square(found, known)
    low, high = stats.chi2.ppf(BAND, n)
    assert low < chi2 < high
    for topic, each in found.items():
        said = job.bay.outlet.retained[topic]
        assert said["q"] in ("good", "uncertain")
        assert said["cal"].startswith("cal-")
        scale = 1e3 if said["unit"] == "mm" else 1.0 / DEG
        assert abs(said["value"] - each.value * scale) <= said["U"]
        assert "assumed spread of the bay" in each.stands_on
    if vehicle == "tractor-and-trailer":
        # Worked out from the parts of the result itself: clamps and the ports of axle 3 lead.
        told = job.said("svc/alert/network-2-wide")
        assert told["level"] == "note"
        assert re.search(
            r"^toe [LR]\d, U 0\.1\d° \(k = 2\): \d\d % how far off centre", told["text"]
        )
        assert "tapes (P to R3, P to L3)" in told["text"]


def test_what_a_first_set_up_tells_and_what_takes_it_back(simulated_bay):
    job = Job(simulated_bay, 1, "rigid-8x4")
    job.set_up(1, 2)
    axle_1, axle_2 = (("axle", n, "both", "total-toe") for n in (1, 2))
    toe = job.said(*axle_1)
    assert (toe["q"], toe["why"]) == ("good", "")
    # One total toe: the network's, not one that two heads alone would give beside it.
    ids = {each["id"] for each in job.bay.outlet.of(f"{job.bay.topics.root}/axle/1/both/total-toe")}
    assert all(name.startswith("nw-1-") for name in ids)
    # No head has been behind axle 2 yet: the centre line to axle 4 is not known, nor any toe.
    assert job.said("axle", 1, "left", "toe") is None
    lacks = job.said("svc/alert/network-lacks")
    assert lacks["level"] == "note"
    assert "toe L1" in lacks["text"]
    assert "still to be read: L3 to R3" in lacks["text"]
    alder = job.on[WheelAt(1, Side.LEFT)]
    job.bay.demo.rig.knock(WheelAt(1, Side.LEFT), job.bay.clock() + 0.1, 3.0 * DEG)
    job.bay.advance(2.0)
    assert (job.said(*axle_1)["q"], job.said(*axle_1)["why"]) == ("stale", "moving")
    # Axle 2 is told again by what its own heads read.
    assert job.said(*axle_2)["q"] == "good"
    job.bay.advance(6.0)
    assert job.said(*axle_1)["q"] == "good"
    job.dismount(1)
    assert (job.said(*axle_1)["q"], job.said(*axle_1)["why"]) == ("good", "unwatched")
    assert job.bay.topics.axle(1, "both", "total-toe") in job.found()
    # The same wheel is turned again: what was read of it is of a wheel that has moved.
    job.bay.bay.put_on(job.bay.head(alder), Wheel(1, Side.LEFT))
    assert job.bay.bay.work.begin(job.bay.head(alder)).ok
    assert (job.said(*axle_1)["q"], job.said(*axle_1)["why"]) == ("stale", "turning")
    assert job.bay.topics.axle(1, "both", "total-toe") not in job.found()
    job.bay.advance(2.0)
    assert job.said(*axle_2)["q"] == "good"


def test_settings_with_networks_come_back_from_a_capture_as_they_went():
    files = network_files(build(4, "tractor-and-trailer", lambda: 0.0))
    settings = WorkSettings(BaySettings(network=NetworkSettings(files)))
    said = json.loads(json.dumps(SETTINGS.dump_python(settings, mode="json")))
    assert SETTINGS.validate_python(said) == settings


@pytest.mark.parametrize(
    ("vehicle", "level"),
    [("rigid-8x4", "note"), ("tractor-and-trailer", "warning")],
)
def test_readings_that_no_positions_fit_take_the_results_back(
    simulated_bay, monkeypatch, vehicle, level
):
    """While sightlines are still to be read that is no fault, and a note.

    Of the tractor, heads on its two axles have read them all: then it is one.
    """
    job = Job(simulated_bay, 3, vehicle)
    job.set_up(1, 2)
    topic = job.bay.topics.axle(2, "both", "total-toe")
    assert job.bay.outlet.retained[topic]["q"] in ("good", "uncertain")

    def refuse(*_):
        raise MeasurementRefused("unsolved", "no positions fit", figure=1.0, limit=0.0)

    monkeypatch.setattr("ingest.service.networkpart.solve", refuse)
    job.bay.advance(8.0)
    said = job.bay.outlet.retained[topic]
    assert (said["q"], said["why"]) == ("stale", "network-unsolved")
    alert = job.bay.outlet.retained[job.bay.topics.alert("network")]
    assert (alert["level"], alert["text"]) == (level, "no positions fit")


def test_a_bay_s_clamps_are_those_of_its_networks(simulated_bay):
    wheel = WheelSettings(clamp_offset_m=0.0007)
    bay = simulated_bay(4, settings=BaySettings(wheel=wheel))
    assert bay.bay.network.clamp_offset_m == 0.0007


@pytest.mark.parametrize("offset_m", [0.0005, 0.002])
def test_how_far_off_centre_clamps_sit_in_this_bay_is_what_its_sightlines_start_with(offset_m):
    head = SimpleNamespace(
        wheel=Wheel(1, Side.LEFT), id="00", instrument=SimpleNamespace(record=None)
    )
    values = np.zeros(len(ROW))
    sat = SimpleNamespace(head=head, mounting=3, rest=SimpleNamespace(values=values))
    port = port_of(sat, Channel.AZIMUTH_CROSS, 0.0, (0.6, 0.28), SpreadSettings(), offset_m)
    (centring,) = (s for s in port.sources if s.source.name == "centring of mounting 3")
    # Of an offset in any direction (r.m.s.) its part along the heading is this share.
    assert centring.forward_m == pytest.approx(offset_m / 2.0**0.5)
