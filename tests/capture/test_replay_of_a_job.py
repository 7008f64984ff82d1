"""A job with a network, a level and a sweep, in simulated time: its replay says the same bytes.

The inputs are noted as the service notes them, before they are taken.
"""

import json
from datetime import UTC, datetime

import pytest

from ingest.commands.demo_network import network_files
from ingest.commands.demo_rig import HEADS, build
from ingest.commands.job_shop import Shop
from ingest.core.frames import Side
from ingest.core.ids import HeadName, MonotonicNs
from ingest.core.ports import LinkForm
from ingest.core.recording import Record
from ingest.core.units import DEG, NS
from ingest.payload.cmd import Request, read_command
from ingest.payload.level_file import LevelFile
from ingest.payload.topics import Topics
from ingest.service.baysettings import BaySettings
from ingest.service.inputs import Arrived, Asked, Began, LinkIs, Moment, Second
from ingest.service.jobtranscript import noting_jobs
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.network import NetworkSettings
from ingest.service.player import NoHands, Player
from ingest.service.transcript import NotingNames, NotingRecords, Transcript
from ingest.service.workings import Jobs, Workings, WorkSettings
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.jobs import StoredJobs
from ingest.store.records import StoredRecords
from tests.capture.renaming import under_another_name

WALL_NS = 1_795_600_000 * NS
TICK_S = 0.25
LEVEL = {
    "format": "levelhead-level",
    "version": 1,
    "bay": "bay7",
    "measured": datetime.fromtimestamp(WALL_NS // NS, UTC).date(),
    "valid_days": 30,
    "by": "Ada Brindle",
    "instrument": "KL-LEVEL-1",
    "surface": "plates",
    "points": [
        {"id": "1L", "x_m": 11.3, "y_m": 1.0},
        {"id": "1R", "x_m": 11.3, "y_m": -1.0},
        {"id": "2L", "x_m": 7.6, "y_m": 1.0},
    ],
    "staff": [
        {"set_up": "A", "point": "1L", "reading_mm": 1400.0, "sigma_mm": 0.2},
        {"set_up": "A", "point": "1R", "reading_mm": 1402.0, "sigma_mm": 0.2},
        {"set_up": "A", "point": "2L", "reading_mm": 1399.0, "sigma_mm": 0.2},
    ],
}


class Kept:
    """An outlet, and a recorder, that keep what they are given."""

    def __init__(self):
        self.said, self.records = [], []

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.said.append((topic, payload, retain, qos))

    def reply(self, request, payload):
        self.said.append((request.reply_topic, payload, False, 1))

    def note(self, topic, data, at_ns, wall_ns):
        self.records.append(Record(topic, data, at_ns, wall_ns))

    def last(self, tail):
        return next(json.loads(p) for t, p, *_ in reversed(self.said) if t.endswith(tail) and p)


class Job:
    """The workings of a bay whose inputs are noted; four heads on two axles of a tractor."""

    def __init__(self, seed, *, jobs=False):
        self.now_s, self.asked = 0.0, 0
        self.demo = build(seed, "tractor-and-trailer", lambda: self.now_s, 20.0)
        settings = WorkSettings(
            BaySettings(
                network=NetworkSettings(network_files(self.demo)),
                level=LevelFile.model_validate(LEVEL),
            ),
            jobs=jobs,
        )
        self.kept = Kept()
        store = open_database(":memory:")
        names, records = StoredHeadNames(store), StoredRecords(store)
        for name, head in self.demo.heads.items():
            names.set_name(head.design.head, HeadName(name))
        for text in self.demo.records:
            records.add(text, "bench")
        forms = dict.fromkeys(self.demo.ptys, LinkForm.STREAM)
        self.transcript = Transcript(self.kept)
        self.transcript.open(self.moment(), "bay7", "b-1", settings, forms)
        self.workings = Workings(
            settings,
            Topics("bay7"),
            forms,
            self.kept,
            NoHands(),
            names=NotingNames(names, self.transcript),
            records=NotingRecords(records, self.transcript),
            boot="b-1",
            jobs=noting_jobs(Jobs(StoredJobs(store), Shop(store)), self.transcript)
            if jobs
            else None,
        )
        self.take(Began())
        for name, pty in self.demo.ptys.items():
            self.take(LinkIs(name, LinkChange(LinkState.OPEN, None), 0))
            self.take(Arrived(name, b"\0" + pty.firmware.boot(self.now_s)))
        self.advance(1.0)

    def moment(self):
        at_ns = round(self.now_s * NS) + NS
        return Moment(MonotonicNs(at_ns), WALL_NS + at_ns)

    def take(self, what):
        self.transcript.note(self.moment(), what)
        self.workings.take(self.moment(), what)

    def advance(self, seconds):
        end_s = self.now_s + seconds
        while self.now_s < end_s - 1e-9:
            before_s, self.now_s = self.now_s, min(self.now_s + TICK_S, end_s)
            for name, pty in self.demo.ptys.items():
                data = pty.firmware.run(self.now_s)
                if data:
                    self.take(Arrived(name, data))
            if int(self.now_s) > int(before_s):
                self.take(Second({}))

    def ask(self, name, /, **fields):
        self.asked += 1
        payload = json.dumps({"id": f"c-{self.asked}"} | fields).encode()
        self.take(
            Asked(Request(name, read_command(name, payload), "levelhead/v1/bay7/reply/me", None))
        )
        return self.kept.last("reply/me")

    def measure(self):
        wheels = [WheelAt(axle, side) for axle in (1, 2) for side in Side]
        self.on = dict(zip(HEADS, wheels, strict=True))
        for name, wheel in self.on.items():
            self.demo.technician.mount(self.demo.heads[name], wheel)
            self.ask("wheel", head=name, axle=wheel.axle, side=wheel.side.value)
        for axle in (1, 2):
            self.demo.technician.jack(axle)
        self.advance(2.5)
        for name in HEADS:
            assert self.ask("turn-begin", head=name)["ok"]
        plans = [self.demo.technician.stops(wheel, 3) for wheel in wheels]
        for steps in zip(*plans, strict=True):
            self.advance(max(step.wait_s for step in steps) + 1.0)
        for name in HEADS:
            assert self.ask("turn-end", head=name)["ok"]
        for axle in (1, 2):
            self.demo.technician.lower(axle)
        for name in HEADS[:2]:
            self.demo.rig.lock(self.demo.heads[name], self.now_s + 3.0)
        self.advance(10.0)

    def sweep(self):
        assert self.ask("sweep-begin", axle=1)["ok"]
        for step in self.demo.technician.sweep(1, 20.2 * DEG):
            self.advance(step.wait_s)
        return self.ask("sweep-end", axle=1)


@pytest.fixture(scope="module")
def job():
    found = Job(2)
    found.measure()
    assert found.kept.last("axle/1/left/toe")["q"] == "good"
    done = found.sweep()
    assert done["ok"], done
    found.advance(3.0)  # the wheels rest straight ahead again, and count in their network
    found.ask("unmount", head=HEADS[0])
    return found


def test_a_replay_of_a_job_says_what_was_said_live_byte_for_byte(job):
    heard = Kept()
    player = Player("capture", job.kept.records, heard)
    for record in player.records:
        player.play(record)
    assert (player.skipped, player.faults) == (0, 0)
    assert heard.said == under_another_name(job.kept.said)


def test_the_job_held_a_network_a_level_and_a_sweep(job):
    said = job.kept.last
    assert said("axle/1/both/total-toe")["id"].startswith("nw-1-")
    assert said("vehicle/thrust")["q"] == "good"
    for quantity in ("caster", "sai"):
        told = said(f"axle/1/left/{quantity}")
        assert told["against"] == f"level of bay7 {LEVEL['measured']}"
        assert (told["q"], told["why"]) == ("good", "unwatched")
        # The network tells the wheels' toe, so that straight ahead is no guess.
        assert told["U"] < 0.14
    assert said("axle/1/left/camber")["against"].startswith("level of bay7")
    assert said("svc/meta")["level"].startswith("level of bay7")
