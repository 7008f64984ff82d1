"""The workings without tasks: inputs in, messages and commands out, one simulated head."""

import json

import numpy as np
import pytest

from ingest.core.errors import LinkLost
from ingest.core.ids import HeadName, MonotonicNs
from ingest.core.ports import LinkForm
from ingest.core.units import NS
from ingest.payload.cmd import Request, read_command
from ingest.payload.topics import Topics
from ingest.service.inputs import Arrived, Asked, Began, LinkIs, Moment, NotSent, Second, Warned
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.workings import Workings, WorkSettings
from ingest.simulator.draws import draw_head
from ingest.simulator.faults import no_faults
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.fleet import VEHICLES
from ingest.simulator.rig import Rig

LINK = "port 1"
TOPICS = Topics("w")


class Store:
    """Names one head, and has no record."""

    def name_of(self, head):
        return HeadName("elm")

    def newest(self, head):
        return None


class Bench:
    """The workings of one link, a head's firmware behind it, and all that came out."""

    def __init__(self):
        head = draw_head(3, "elm")
        rig = Rig(next(iter(VEHICLES.values()))(3), (head,))
        self.firmware = Firmware(
            rig,
            head,
            random=np.random.default_rng(3),
            clockwork=Clockwork(),
            faults=no_faults(),
            rate_hz=50.0,
        )
        self.now_s, self.said, self.sent, self.hellos = 0.0, {}, [], []
        self.workings = Workings(
            WorkSettings(pings=True),
            TOPICS,
            {LINK: LinkForm.STREAM},
            self,
            self,
            names=Store(),
            records=Store(),
            boot="b-1",
        )

    def take(self, what):
        at_ns = round(self.now_s * NS) + NS
        self.workings.take(Moment(MonotonicNs(at_ns), at_ns), what)

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.said.setdefault(topic, []).append(json.loads(payload) if payload else None)

    def reply(self, request, payload):
        self.publish("reply", payload, retain=False, qos=1, expiry_s=None)

    def send(self, link, data, command_id):
        self.sent.append((data, command_id))

    def ask_hello(self, link, command):
        self.hellos.append((round(self.now_s, 3), command))

    def heard(self, link, at_ns):
        pass

    def rest(self, link, until_ns):
        pass

    def identify(self, number):
        command = read_command("identify", json.dumps({"id": f"i{number}", "head": "elm"}).encode())
        self.take(Asked(Request("identify", command, "reply", None)))


@pytest.fixture
def bench():
    """A head that is there and has introduced itself."""
    bench = Bench()
    bench.take(Began())
    bench.take(LinkIs(LINK, LinkChange(LinkState.OPEN, None), 0))
    bench.take(Arrived(LINK, bench.firmware.boot(0.0)))
    return bench


def test_what_a_head_answers_is_the_answer_to_a_request(bench):
    bench.identify(1)
    assert "reply" not in bench.said
    ((data, _),) = bench.sent
    bench.take(Arrived(LINK, bench.firmware.receive(b"\0" + data, bench.now_s)))
    (answer,) = bench.said["reply"]
    assert (answer["ok"], answer["code"]) == (True, "ok")
    assert bench.firmware.identified == 1


def test_each_request_gets_the_answer_to_its_own_command(bench):
    bench.identify(1)
    bench.identify(2)
    (_, one), (second, two) = bench.sent
    assert one != two
    bench.take(Arrived(LINK, bench.firmware.receive(b"\0" + second, bench.now_s)))
    assert [answer["id"] for answer in bench.said["reply"]] == ["i2"]
    bench.take(NotSent(LINK, one, LinkLost(LINK, "went away")))
    assert [answer["id"] for answer in bench.said["reply"]] == ["i2", "i1"]
    assert bench.said["reply"][1]["code"] == "head-offline"


def test_a_head_that_does_not_answer_is_said_to_be_silent_once(bench):
    bench.identify(1)
    for seconds in (1.0, 2.0):
        bench.now_s = seconds
        bench.take(Second({LINK: 0}))
        assert "reply" not in bench.said
    bench.now_s = 2.1
    bench.take(Second({LINK: 0}))
    assert [answer["code"] for answer in bench.said["reply"]] == ["head-silent"]
    late = bench.firmware.receive(b"\0" + bench.sent[0][0], bench.now_s)
    bench.take(Arrived(LINK, late))
    bench.take(Second({LINK: 0}))
    assert len(bench.said["reply"]) == 1


def test_each_second_the_link_is_told_of_with_what_was_dropped(bench):
    for number in range(1, 4):
        bench.now_s += 1.0
        bench.take(Arrived(LINK, bench.firmware.run(bench.now_s)))
        bench.take(Second({LINK: 7 * number}))
    told = bench.said[TOPICS.head_link("elm")]
    assert [each["dropped"] for each in told] == [7, 14, 21]


def seconds(bench, until_s):
    while bench.now_s < until_s:
        bench.now_s += 1.0
        bench.take(Second({}))


def test_pings_that_a_head_leaves_unanswered_are_told(bench):
    link, alert = TOPICS.head_link("elm"), TOPICS.alert("pings-1")
    seconds(bench, 22.0)
    assert bench.said[link][-1]["unanswered"] == 2  # of 1 s and 11 s
    assert alert not in bench.said
    seconds(bench, 25.0)
    assert "head elm on port 1 has left its last 3 clock pings" in bench.said[alert][-1]["text"]
    seconds(bench, 31.0)
    answered = bench.firmware.receive(bench.sent[-1][0], bench.now_s)
    bench.take(Arrived(LINK, answered))
    seconds(bench, 32.0)
    assert bench.said[alert][-1] is None
    assert bench.said[link][-1]["trip_ms"] is not None


def test_a_ping_that_could_not_be_sent_is_not_counted(bench):
    seconds(bench, 1.0)
    bench.take(NotSent(LINK, bench.sent[-1][1], LinkLost(LINK, "gone")))
    seconds(bench, 4.0)
    assert bench.said[TOPICS.head_link("elm")][-1]["unanswered"] == 0


def test_two_seconds_in_one_moment_are_one(bench):
    bench.now_s = 1.0
    bench.take(Second({LINK: 0}))
    bench.take(Second({LINK: 0}))
    assert len(bench.said[TOPICS.head_link("elm")]) == 1


def test_a_head_that_streams_without_a_hello_is_asked_again_each_second():
    bench = Bench()
    bench.take(Began())
    bench.take(LinkIs(LINK, LinkChange(LinkState.OPEN, None), 0))
    for _ in range(30):
        bench.now_s += 0.1
        bench.take(Arrived(LINK, b"\0"))
    assert [at_s for at_s, _ in bench.hellos] == pytest.approx([0.0, 1.0, 2.0, 3.0])
    bench.take(Arrived(LINK, bench.firmware.receive(b"\0" + bench.hellos[-1][1], bench.now_s)))
    bench.now_s += 5.0
    bench.take(Arrived(LINK, b"\0"))
    assert len(bench.hellos) == 4


def test_a_link_that_opens_anew_is_asked_at_once(bench):
    before = len(bench.hellos)
    bench.take(LinkIs(LINK, LinkChange(LinkState.ABSENT, LinkLost(LINK, "went away")), 0))
    bench.take(LinkIs(LINK, LinkChange(LinkState.OPEN, None), 1))
    assert len(bench.hellos) == before + 1


def test_a_warning_is_an_alert(bench):
    bench.take(Warned("capture", "the disk is full"))
    (alert,) = bench.said[TOPICS.alert("capture")]
    assert (alert["level"], alert["text"]) == ("warning", "the disk is full")
