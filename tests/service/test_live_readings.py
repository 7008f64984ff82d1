"""Live readings: when one is said, and what it never says."""

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from calibration.sensors import Correction
from ingest.core.blocks import Flag, SampleBlock
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.ids import HeadId
from ingest.core.units import DEG, NS
from ingest.payload.topics import Topics
from ingest.service.announcer import Announcer
from ingest.service.instrument import Instrument
from ingest.service.live import LiveReadings, LiveSettings

WALL_NS = 1_795_600_000 * NS


HEAD = HeadId("0" * 15 + "1")


class Scene:
    """One head's live readings, fed sample by sample."""

    def __init__(self):
        self.now_s = 1.0
        self.heard = []
        topics = Topics("t")
        announcer = Announcer(topics, self, lambda: round(self.now_s * NS), lambda: WALL_NS, "b")
        self.topic = topics.reading("h", Channel.INCL_X)
        self.live = LiveReadings(LiveSettings(), announcer, "h")
        self.instrument = Instrument(HEAD, Correction.nominal(HEAD))

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.heard.append((topic, json.loads(payload), retain, qos, expiry_s))

    def feed(self, incl_x_deg, after_s=0.1, flags=Flag.STILL):
        self.now_s += after_s
        values = np.full((len(CHANNELS), 1), np.nan)
        values[ROW[Channel.INCL_X]] = incl_x_deg * DEG
        block = SampleBlock(
            np.array([round(self.now_s * NS)]),
            values,
            np.array([flags], np.uint16),
            lag_ns=25_000_000,
        )
        self.live.feed([block], self.instrument, 10)

    def said(self):
        return [m for t, m, *_ in self.heard if t == self.topic]


@pytest.fixture
def scene():
    return Scene()


def test_what_does_not_change_is_said_once_a_second(scene):
    for _ in range(50):
        scene.feed(1.0)
    assert len(scene.said()) == 5


def test_what_changes_is_said_at_most_ten_times_a_second(scene):
    for step in range(100):
        scene.feed(1.0 + step, after_s=0.01)
    assert 9 <= len(scene.said()) <= 11


def test_a_change_within_the_deadband_waits(scene):
    scene.feed(1.0)
    deadband = scene.said()[0]["U"] / 10.0
    scene.feed(1.0 + 0.8 * deadband)
    assert len(scene.said()) == 1
    scene.feed(1.0 + 1.2 * deadband)
    assert len(scene.said()) == 2


def test_coming_to_rest_is_said_at_once(scene):
    scene.feed(1.0, flags=Flag.MOVING)
    scene.feed(1.0)
    assert [m["still"] for m in scene.said()] == [False, True]


def test_a_live_value_is_retained_at_qos_0_and_expires(scene):
    scene.feed(1.0)
    _, message, retain, qos, expiry_s = scene.heard[0]
    assert (retain, qos, expiry_s, message["ttl"], message["lag_ms"]) == (True, 0, 3.0, 3.0, 25.0)
    assert message["ms"] // 1000 == int(datetime.fromtimestamp(WALL_NS / NS, UTC).timestamp())


def test_a_channel_that_never_had_a_value_is_never_said(scene):
    scene.feed(1.0)
    assert {topic for topic, *_ in scene.heard} == {scene.topic}


def test_a_value_that_is_gone_is_null_and_bad(scene):
    scene.feed(1.0)
    for _ in range(15):
        scene.feed(np.nan)
    gone = scene.said()[1:]
    assert [(m["value"], m["U"], m["q"], m["why"]) for m in gone] == [
        (None, None, "bad", "no-value")
    ] * 2
    scene.feed(1.0)
    assert scene.said()[-1]["q"] == "uncertain"


def test_a_value_out_of_range_says_so_and_leaves_its_neighbours_their_value(scene):
    scene.feed(1.0)
    scene.feed(np.nan, flags=Flag.OUT_OF_RANGE)
    assert scene.said()[-1]["why"] == "out-of-range"
    scene.feed(2.0, flags=Flag.OUT_OF_RANGE)
    last = scene.said()[-1]
    assert (last["q"], last["why"], last["value"] is None) == ("uncertain", "out-of-range", False)


def test_a_fault_that_the_head_reports_makes_a_reading_bad(scene):
    scene.feed(1.0, flags=Flag.SENSOR_FAULT)
    assert (scene.said()[0]["q"], scene.said()[0]["why"]) == ("bad", "sensor-fault")


def test_a_rate_needs_two_values(scene):
    scene.feed(1.0)
    scene.feed(2.0)
    assert [m["rate"] for m in scene.said()] == [None, pytest.approx(10.0, rel=1e-3)]


def test_the_reading_of_a_head_that_nobody_calibrated_moves_as_the_head_does(scene):
    for i in range(4):
        scene.feed(1.2346 + 0.002 * i, after_s=1.0)
    assert [m["value"] for m in scene.said()] == [1.235, 1.237, 1.239, 1.241]
    assert {m["dp"] for m in scene.said()} == {3}
    (U,) = {m["U"] for m in scene.said()}  # noqa: N806
    assert U > 1.0
    assert len(f"{U:g}".replace(".", "")) == 2  # GUM 7.2.6: two digits of the uncertainty
