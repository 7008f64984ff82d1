"""Heads moved from axle to axle fill a vehicle's network; held against the simulator's truth.

The simulator shares no geometry with what is tested; the vehicles are invented.
"""

import numpy as np
import pytest
from scipy import stats

from calibration.measured import covariance
from ingest.commands.demo_network import network_files, network_truths, set_ups
from ingest.commands.demo_rig import HEADS, build
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.service.bay import BaySettings
from ingest.service.bayhead import Wheel
from ingest.service.network import NetworkSettings
from ingest.simulator.vehicle import WheelAt
from tests.service.test_whole_vehicle import turn

BAND = (5e-4, 1.0 - 5e-4)
"""99.9 %."""


class Job:
    """A vehicle whose heads are moved along, two pairs at a time; the rear pair stays."""

    def __init__(self, simulated_bay, seed, vehicle):
        files = network_files(build(seed, vehicle, lambda: 0.0))
        settings = BaySettings(network=NetworkSettings(files))
        self.bay = simulated_bay(seed, vehicle, settings=settings)
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
    real = values > 1e-9 * values[-1]
    z = (vectors.T @ errors)[real] / np.sqrt(values[real])
    off = vectors[:, ~real].T @ errors
    assert np.abs(off).max() < 1e-2, "what follows from each other does not"
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
