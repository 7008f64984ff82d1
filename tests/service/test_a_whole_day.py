"""A day of one head in simulated time: reboots, counter wraps, a clock that warms and cools.

The samples are few, so that a day takes seconds; each arrives by itself and late by chance.
"""

import gc
import json
import math
import tracemalloc

import numpy as np
import pytest

from ingest.core.channels import CHANNELS
from ingest.core.frames import Side
from ingest.core.ids import BootId, HeadId, MonotonicNs
from ingest.core.ports import Chunk, LinkForm
from ingest.core.units import NS
from ingest.payload.topics import Topics
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay
from ingest.service.bayhead import Wheel
from ingest.service.baysettings import BaySettings
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.live import LiveSettings
from ingest.wire.codes import status_byte
from ingest.wire.framing import frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import encode
from ingest.wire.sample import encode_sample

HEAD, LINK = HeadId("4c480a1700c3d52e"), "port"
HOURS = 24
PERIOD_S = 5.0
TICK_SAMPLES = 15
RATE_DHZ = round(10.0 / PERIOD_S)
TRANSIT_S, LATE_S = 0.002, 0.003
PPM, SWING_PPM, SWING_H = 20.0, 15.0, 6.0
"""A crystal's rate, and how it swings with the temperature of the hall."""
TRACED_FROM_H = 18
"""Tracing memory makes all of it slow; objects are counted all day."""
GROWTH_BYTES, GROWTH_OBJECTS = 20_000, 500


class Last:
    """An outlet that remembers the last message of each topic."""

    def __init__(self):
        self.retained = {}

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.retained[topic] = payload


class Names:
    """Nobody has named a head."""

    def name_of(self, head):
        return None

    def head_named(self, name):
        return None


class Records:
    """Nobody has calibrated a head."""

    def newest(self, head):
        return None


def device_s(t_s):
    """Return the head's own time: its rate integrated."""
    turn = 2.0 * math.pi / (SWING_H * 3600.0)
    return t_s + 1e-6 * (PPM * t_s + SWING_PPM / turn * (1.0 - math.cos(turn * t_s)))


class Day:
    """One head that lives through a day, and the bay that hears it."""

    def __init__(self, seed):
        self.random = np.random.default_rng(seed)
        self.now_ns, self.outlet, self.topics = 0, Last(), Topics("day")
        announcer = Announcer(
            self.topics, self.outlet, lambda: MonotonicNs(self.now_ns), lambda: self.now_ns, "b-1"
        )
        forms = {LINK: LinkForm.STREAM}
        settings = BaySettings(live=LiveSettings(min_s=60.0, max_s=60.0, ttl_s=180.0))
        self.bay = Bay(settings, forms, announcer, Names(), Records())
        self.bay.link_changed(LINK, LinkChange(LinkState.OPEN, None))
        self.boot, self.seq, self.zero_us = BootId(1), 0, 0
        self.errors, self.bounds = [], []

    @property
    def head(self):
        return next(iter(self.bay.heads.values()))

    def arrive(self, t_s, data):
        late_s = TRANSIT_S + self.random.exponential(LATE_S)
        self.now_ns = round((t_s + late_s) * NS)
        return self.bay.take(LINK, Chunk(data, MonotonicNs(self.now_ns)))

    def start(self, t_s):
        """Start the head anew; its counter begins anywhere, and so wraps in most hours."""
        self.boot = BootId(self.boot + 1)
        self.seq, self.zero_us = (
            int(self.random.integers(1 << 16)),
            int(self.random.integers(1 << 32)) - round(device_s(t_s) * 1e6),
        )
        channels = tuple(
            ChannelInfo.of(c, rate_dhz=RATE_DHZ, low=-900_000, high=900_000) for c in CHANNELS[:4]
        )
        hello = Hello(HEAD, self.boot, "1", rate_dhz=RATE_DHZ, channels=channels)
        self.arrive(t_s, b"\0" + frame(encode(hello)))
        if self.head.wheel is None:
            self.bay.put_on(self.head, Wheel(1, Side.LEFT))
            self.spy()

    def spy(self):
        """Hold the time of each value that reaches the wheel against the head's true time."""
        feed = self.bay.work.feed

        def heard(head, blocks, chain, partner):
            for block in blocks:
                since = block.t_ns / NS
                self.errors += (since - np.round(since / PERIOD_S) * PERIOD_S).tolist()
                self.bounds += [chain.clock.bound_ns] * len(block)
            feed(head, blocks, chain, partner)

        self.bay.work.feed = heard

    def sample(self, t_s):
        codes = self.random.integers(-300, 300, 4).tolist()
        t_us = (self.zero_us + round(device_s(t_s) * 1e6)) % (1 << 32)
        body = encode_sample(0, status_byte(self.boot), self.seq, t_us, codes)
        self.seq += 1
        self.arrive(t_s, frame(body))

    def hour(self, number):
        """Live through an hour: a start, a turn that gives nothing, and samples."""
        began_s = number * 3600.0
        self.start(began_s + 0.5)
        for n in range(1, int(3600.0 / PERIOD_S)):
            self.sample(began_s + n * PERIOD_S)
            if n % TICK_SAMPLES == 0:
                self.bay.tick(TICK_SAMPLES * PERIOD_S)
            if n == 200:
                self.bay.work.begin(self.head)
            elif n == 400:
                self.bay.work.end(self.head)


@pytest.fixture(scope="module")
def day():
    """A day that is over: objects after each hour, bytes after the last hours, errors, bounds."""
    lived, objects, memory, clock = Day(5), [], [], []
    for number in range(HOURS):
        if number == TRACED_FROM_H:
            tracemalloc.start()
        lived.hour(number)
        clock.append(np.array([lived.errors, [b or math.nan for b in lived.bounds]]))
        lived.errors.clear()
        lived.bounds.clear()
        gc.collect()
        objects.append(len(gc.get_objects()))
        if tracemalloc.is_tracing():
            kept = sum(each.nbytes for each in clock[TRACED_FROM_H:])
            memory.append(tracemalloc.get_traced_memory()[0] - kept)
    tracemalloc.stop()
    return lived, (objects, memory), np.concatenate(clock, axis=1)


def test_memory_stands_still(day):
    _, (objects, memory), _ = day
    assert max(objects[2:]) - objects[1] < GROWTH_OBJECTS
    assert max(memory[2:]) - memory[1] < GROWTH_BYTES


def test_the_clocks_error_is_within_the_bound_that_is_known(day):
    _, _, (error_s, bound_ns) = day
    known = np.isfinite(bound_ns)
    assert known.sum() > 0.9 * len(error_s)
    beyond = np.abs(error_s[known] - TRANSIT_S) - bound_ns[known] / NS
    assert beyond.max() <= 0.0
    assert np.quantile(bound_ns[known], 0.9) < 0.020 * NS


def test_the_bound_stands_on_the_link_topic(day):
    lived, _, _ = day
    lived.bay.tick(60.0)
    said = json.loads(lived.outlet.retained[lived.topics.head_link(lived.head.name)])
    chain = lived.bay.slots[LINK].feed.chain
    assert said["clk_ms"] == pytest.approx(chain.clock.bound_ns * 1e-6, abs=0.001)
    assert said["clk_ppm"] == pytest.approx(chain.clock.drift_ppm, abs=0.06)


def test_each_start_is_counted_and_no_wrap_is_taken_for_one(day):
    lived, _, _ = day
    counters = lived.bay.slots[LINK].counters
    assert counters.reboots == HOURS - 1
    assert (counters.jumps, counters.lost, counters.duplicates) == (0, 0, 0)
    assert counters.samples == HOURS * (int(3600.0 / PERIOD_S) - 1)
