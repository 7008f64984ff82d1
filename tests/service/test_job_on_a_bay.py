"""A whole job on a simulated bay, in simulated time: from requests alone, with real results.

The vehicles are invented; the truth is the simulator's, which shares no geometry with what is
tested.
"""

import json

import numpy as np
import pytest
from scipy import stats

from ingest.commands.demo_network import network_truths, pin_m, station_of
from ingest.commands.demo_rig import HEADS
from ingest.commands.job_shop import Shop
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.course.job import Phase
from ingest.job.course.tasks import Doing
from ingest.payload.cmd import read_command
from ingest.service.bayhead import Wheel
from ingest.service.jobview import LiveBayView
from ingest.service.jobwork import JobWork
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from ingest.store.jobs import StoredJobs
from tests.service.test_whole_vehicle import turn

BAND = (5e-4, 1.0 - 5e-4)
"""99.9 %."""


class JobOnABay:
    """Does what guidance says, as far as hands are needed; asks for the rest."""

    def __init__(self, simulated_bay, seed, vehicle):
        self.bay = simulated_bay(seed, vehicle, rate_hz=50.0)
        connection = open_database(":memory:")
        announcer = self.bay.bay._announcer
        view = LiveBayView(self.bay.bay, announcer)
        store = StoredJobs(connection)
        self.work = JobWork(store, Shop(connection), view, announcer, self.bay.bay.alerts)
        announcer.verdicts = self.work
        self.work.take_up()
        self.on = {}
        self.asked = 0
        self.ask("job-open", vehicle=vehicle, limits="general", order="W-1")

    @property
    def job(self):
        return self.work.job

    def ask(self, name, **fields):
        self.asked += 1
        payload = json.dumps({"id": f"q-{self.asked}", **fields}).encode()
        done = self.work.carry_out("ines", read_command(name, payload))
        assert done.ok, f"{name} {fields}: {done.text}"
        return done.text

    def told(self, leaf):
        return self.bay.outlet.retained[self.bay.topics.job(leaf)]

    def run(self):
        for item in self.job.unchecked:
            self.ask("job-check", item=item, state="ok")
        self.ask("job-begin")
        while (task := self.job.current) is not None:
            self.do(task)
        self.ask("job-close")
        return self

    def do(self, task):
        match task.doing:
            case Doing.MOUNT:
                self.mount(task)
            case Doing.TAPE:
                self.tape(task)
            case Doing.TURN:
                self.compensate(*task.axles)
            case Doing.FIND | Doing.LEAVE:
                self.wait(task)
        note = "nothing can be turned here" if task.doing is Doing.ADJUST else ""
        self.ask("job-done", task=task.id, note=note)

    def mount(self, task):
        for wheel in [wheel for wheel in self.on if wheel.axle in task.off]:
            name = self.on.pop(wheel)
            self.bay.demo.technician.dismount(self.bay.demo.heads[name])
            self.bay.bay.put_on(self.bay.head(name), None)
        self.bay.advance(0.5)
        for axle in task.axles:
            free = [name for name in HEADS if name not in self.on.values()]
            for side, name in zip(Side, free, strict=False):
                self.on[WheelAt(axle, side)] = name
                self.bay.demo.technician.mount(self.bay.demo.heads[name], WheelAt(axle, side))
                self.bay.bay.put_on(self.bay.head(name), Wheel(axle, side))

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

    def tape(self, task):
        wheels = vehicle_truth(self.bay.demo.rig.vehicle, 0.0).wheels
        place = {station_of(wheel): np.array(true.hub_m) for wheel, true in wheels.items()}
        place["P"] = np.array(pin_m(self.bay.demo))
        for line in task.tapes:
            one, other = line.split("-")
            metres = round(float(np.linalg.norm(place[one] - place[other])), 4)
            self.ask("job-tape", line=line, metres=metres, u_mm=1.0)

    def wait(self, task):
        for _ in range(40):
            self.bay.advance(1.0)
            self.work.tell()
            if self.told("guidance")["ready"]:
                return
        raise AssertionError(f"{task.id} lacks {self.told('guidance')['lacks']}")


@pytest.fixture(scope="module", params=[(3, "rigid-8x4"), (5, "tractor-and-trailer")])
def done(request):
    from tests.service.conftest import SimulatedBay

    return JobOnABay(SimulatedBay, *request.param).run()


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
