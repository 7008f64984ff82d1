"""When a port is read: seldom, yet the newest byte of a chunk has only just come.

Real pipes, virtual time: every figure here is exact to the microsecond.
"""

import asyncio
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.errors import LinkLost
from ingest.core.ids import MonotonicNs
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.serial_fd import FdStream
from ingest.drivers.serial_hold import CROWDED, LINGER_S, REPLY_S, TAIL_S, TTY_BUFFER, Holds

HOLD_S = 0.040
HOLDS = Holds(usual_s=HOLD_S, longest_s=0.178)
SAMPLE = bytes(52)
"""Two frames of 26 bytes."""

PERIOD_S = 0.010


class Line:
    """A stream on a pipe, and what came out of it: (seconds since the start, data, stamp)."""

    def __init__(self, holds=HOLDS):
        self.loop = asyncio.get_running_loop()
        self.start_s = self.loop.time()
        self.out, self.into = os.pipe()
        os.set_blocking(self.out, False)
        self.queue = ChunkQueue(10_000)
        self.stream = FdStream(self.out, "head", holds, self.clock, self.queue)
        self.got = []
        self.taking = asyncio.create_task(self.take())

    def clock(self):
        return MonotonicNs(round(self.loop.time() * 1e9))

    def now_s(self):
        return round(self.loop.time() - self.start_s, 6)

    async def take(self):
        async for chunk in self.queue:
            stamp_s = round(chunk.arrived_ns / 1e9 - self.start_s, 6)
            self.got.append((self.now_s(), chunk.data, stamp_s))

    async def until(self, at_s):
        await asyncio.sleep(self.start_s + at_s - self.loop.time())

    async def write_at(self, at_s, data):
        await self.until(at_s)
        os.write(self.into, data)

    async def end(self):
        self.stream.stop()
        await asyncio.gather(self.taking, return_exceptions=True)
        os.close(self.out)
        os.close(self.into)


def test_reads_at_once_after_a_pause(run_in_virtual_time):
    async def main():
        line = Line()
        await line.write_at(0.3, b"a")
        await line.until(0.4)
        assert line.got == [(0.3, b"a", 0.3)]
        await line.end()

    run_in_virtual_time(main())


def test_reads_the_pieces_of_a_burst_as_they_come(run_in_virtual_time):
    async def main():
        line = Line()
        for at_s, piece in ((0.100, b"a"), (0.102, b"b"), (0.104, b"c")):
            await line.write_at(at_s, piece)
        await line.until(0.14)
        assert line.got == [(0.1, b"a", 0.1), (0.102, b"b", 0.102), (0.104, b"c", 0.104)]
        await line.end()

    run_in_virtual_time(main())


def test_what_gathers_in_a_rest_goes_out_with_the_next_arrival_and_its_stamp(run_in_virtual_time):
    async def main():
        line = Line()
        await line.write_at(0.1, b"a")
        await line.write_at(0.12, b"b")
        await line.write_at(0.13, b"c")
        await line.write_at(0.15, b"d")
        await line.until(0.16)
        assert line.got == [(0.1, b"a", 0.1), (0.15, b"bcd", 0.15)]
        await line.end()

    run_in_virtual_time(main())


def test_what_gathers_in_a_rest_does_not_wait_long_for_a_next_arrival(run_in_virtual_time):
    async def main():
        line = Line()
        await line.write_at(0.1, b"a")
        await line.write_at(0.12, b"b")
        await line.until(1.0)
        read_s = round(0.1 + TAIL_S + HOLD_S, 6)
        assert line.got[1:] == [(round(read_s + LINGER_S, 6), b"b", read_s)]
        await line.write_at(1.0, b"c")
        await line.until(1.001)
        assert line.got[2:] == [(1.0, b"c", 1.0)]
        await line.end()

    run_in_virtual_time(main())


def test_a_head_at_100_hz_wakes_the_service_twenty_times_a_second(run_in_virtual_time):
    async def main():
        line = Line()
        for number in range(1000):
            await line.write_at(number * PERIOD_S, SAMPLE)
        await line.until(10.1)
        newest_late_s = [at_s % PERIOD_S for at_s, _, _ in line.got[:-1]]
        assert max(min(late, PERIOD_S - late) for late in newest_late_s) < 1e-5
        assert 195 <= len(line.got) <= 205
        assert sum(len(data) for _, data, _ in line.got) == 1000 * len(SAMPLE)
        await line.end()

    run_in_virtual_time(main())


def test_no_hold_reads_at_every_arrival(run_in_virtual_time):
    async def main():
        line = Line(Holds.at(0.0, 115_200))
        line.stream.rest(line.loop.time() + 1.0)
        for number in range(100):
            await line.write_at(number * PERIOD_S, SAMPLE)
        await line.until(1.1)
        assert len(line.got) == 100
        await line.end()

    run_in_virtual_time(main())


@pytest.mark.parametrize("sent_after_s", [0.002, 0.020])
def test_an_answer_is_read_when_it_comes(run_in_virtual_time, sent_after_s):
    """Sent in the tail of a burst, and in a rest."""

    async def main():
        line = Line()
        await line.write_at(0.1, b"a")
        await line.write_at(0.101, b"b")
        await line.until(0.1 + sent_after_s)
        line.stream.expect_reply()
        for at_s in (0.150, 0.160, 0.170):
            await line.write_at(at_s, b"pong")
        await line.until(0.175)
        assert line.got[2:] == [(at_s, b"pong", at_s) for at_s in (0.150, 0.160, 0.170)]
        await line.until(0.1 + sent_after_s + REPLY_S + TAIL_S)
        await line.write_at(0.3, b"c")
        await line.write_at(0.31, b"d")
        await line.until(0.32)
        assert line.got[5:] == [(0.3, b"c", 0.3)]
        await line.end()

    run_in_virtual_time(main())


def test_rests_until_bytes_are_needed(run_in_virtual_time):
    async def main():
        line = Line()
        await line.write_at(0.1, b"a")
        line.stream.rest(line.start_s + 0.195)
        for number in range(1, 11):
            await line.write_at(0.1 + number * PERIOD_S, b"b")
        await line.until(0.21)
        assert line.got == [(0.1, b"a", 0.1), (0.2, b"b" * 10, 0.2)]
        await line.end()

    run_in_virtual_time(main())


def test_does_not_rest_when_what_is_needed_is_overdue(run_in_virtual_time):
    """Work that took long: by its end the bytes wait that it was to be ready for."""

    async def main():
        line = Line()
        await line.write_at(0.1, b"a")
        line.stream.rest(line.start_s + 0.1 + TAIL_S - 0.002)
        await line.write_at(0.112, b"b")
        await line.until(0.12)
        assert line.got[1:] == [(0.112, b"b", 0.112)]
        await line.end()

    run_in_virtual_time(main())


def test_rests_as_usual_when_nobody_said_anything_since(run_in_virtual_time):
    async def main():
        line = Line()
        line.stream.rest(line.start_s + 0.05)
        await line.write_at(0.1, b"a")
        await line.write_at(0.112, b"b")
        await line.write_at(0.15, b"c")
        await line.until(0.16)
        assert line.got[1:] == [(0.15, b"bc", 0.15)]
        await line.end()

    run_in_virtual_time(main())


def test_rests_no_longer_than_the_buffer_allows(run_in_virtual_time):
    async def main():
        line = Line(Holds(usual_s=0.02, longest_s=0.05))
        await line.write_at(0.1, b"a")
        line.stream.rest(line.start_s + 100.0)
        await line.write_at(0.12, b"b")
        await line.write_at(0.16, b"c")
        await line.until(0.165)
        assert line.got[1:] == [(0.16, b"bc", 0.16)]
        await line.end()

    run_in_virtual_time(main())


def test_a_line_too_fast_to_rest_on_is_read_without_a_pause(run_in_virtual_time):
    async def main():
        line = Line()
        for number in range(10):
            await line.write_at(0.1 + number * PERIOD_S, bytes(CROWDED))
        await line.until(0.2)
        assert len(line.got) == 10
        await line.end()

    run_in_virtual_time(main())


def test_a_rest_that_fills_half_the_buffer_is_handed_on_at_its_end(run_in_virtual_time):
    async def main():
        line = Line()
        await line.write_at(0.1, b"a")
        await line.write_at(0.12, bytes(CROWDED))
        await line.until(0.16)
        read_s = round(0.1 + TAIL_S + HOLD_S, 6)
        assert [(at_s, stamp_s) for at_s, _, stamp_s in line.got[1:]] == [(read_s, read_s)]
        await line.end()

    run_in_virtual_time(main())


@pytest.mark.parametrize("baud", [300, 9_600, 115_200, 460_800, 921_600, 12_000_000])
def test_no_hold_lets_a_line_at_full_rate_fill_the_buffer(baud):
    holds = Holds.at(0.5, baud)
    bytes_per_s = baud / 10  # start bit, eight data bits, stop bit
    longest_s = max(holds.rest_s(0.0), holds.rest_s(0.1), holds.rest_s(1e6))
    assert longest_s * bytes_per_s <= TTY_BUFFER / 2 + 1e-6


@pytest.mark.parametrize("stop_at_s", [0.05, 0.102, 0.12, 0.15])
def test_stopping_hands_on_what_it_has_and_leaves_nothing_behind(run_in_virtual_time, stop_at_s):
    """Stopped while watching, in a tail, in a rest, and with bytes kept."""

    async def main():
        line = Line()
        for at_s, data in ((0.01, b"."), (0.1, b"a"), (0.11, b"b")):
            if at_s < stop_at_s:
                await line.write_at(at_s, data)
        await line.until(stop_at_s)
        read_b = stop_at_s == 0.15
        line.stream.stop()
        line.stream.stop()
        with pytest.raises(LinkLost, match="closed"):
            await line.taking
        count = len(line.got)
        assert not read_b or line.got[-1][1] == b"b"
        os.write(line.into, b"more")
        await line.until(1.0)
        assert len(line.got) == count
        assert os.read(line.out, 100).endswith(b"more")
        os.close(line.out)
        os.close(line.into)

    run_in_virtual_time(main())


WRITES = st.lists(
    st.tuples(st.integers(0, 80_000), st.binary(min_size=1, max_size=60)), min_size=1, max_size=40
)
"""Pauses in microseconds, and what is written after them."""


@settings(max_examples=60, deadline=None)
@given(WRITES, st.sampled_from([0.0, 0.01, 0.04]))
def test_every_byte_comes_out_once_in_order_and_soon(run_in_virtual_time, writes, hold_s):
    async def main():
        line = Line(Holds(usual_s=hold_s, longest_s=0.1 if hold_s else 0.0))
        at_s, written = 0.0, []
        for pause_us, data in writes:
            at_s += pause_us * 1e-6
            await line.write_at(at_s, data)
            written += [at_s] * len(data)
        await line.until(at_s + 0.2)
        came = [(at_s, stamp_s) for at_s, data, stamp_s in line.got for _ in data]
        assert b"".join(d for _, d, _ in line.got) == b"".join(d for _, d in writes)
        for wrote_s, (at_s, stamp_s) in zip(written, came, strict=True):
            assert wrote_s - 2e-6 <= stamp_s <= at_s
            assert at_s - wrote_s <= hold_s + LINGER_S + 2e-6
        stamps = [stamp_s for _, stamp_s in came]
        assert stamps == sorted(stamps)
        await line.end()

    run_in_virtual_time(main())
