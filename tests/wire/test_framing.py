"""Frames in a stream of bytes: bounds, resynchronising, and what is counted."""

import random

import pytest

from ingest.core.counters import FrameFault, LinkCounters
from ingest.wire.framing import MAX_BODY, MAX_FRAME, Deframer, frame

PING = bytes.fromhex("b3000700")


def kept_bytes(deframer: Deframer) -> int:
    return len(deframer._tail)


@pytest.mark.parametrize("size", [1, 250, 253, 254, 255, 508, MAX_BODY])
@pytest.mark.parametrize("byte", [0, 1, 255])
def test_carries_bodies_of_any_allowed_size(size: int, byte: int) -> None:
    counters = LinkCounters()
    body = bytes([byte]) * size
    framed = frame(body)
    assert framed.count(0) == 1
    assert len(framed) <= MAX_FRAME + 1
    assert Deframer(counters).feed(framed) == [body]


@pytest.mark.parametrize("size", [0, MAX_BODY + 1])
def test_refuses_to_frame_a_body_of_another_size(size: int) -> None:
    with pytest.raises(ValueError, match="a body has 1 to 512 bytes"):
        frame(bytes(size))


def test_largest_frame_is_as_large_as_the_bound_says() -> None:
    assert max(len(frame(bytes([byte]) * MAX_BODY)) for byte in (0, 7)) == MAX_FRAME + 1


def test_flood_without_delimiter_is_dropped_counted_once_and_never_kept() -> None:
    counters = LinkCounters()
    deframer = Deframer(counters)
    deframer.feed(b"\0")
    for _ in range(2000):
        assert deframer.feed(b"\x55" * 1000) == []
        assert kept_bytes(deframer) <= MAX_FRAME
    assert deframer.feed(b"\0" + frame(PING)) == [PING]
    assert counters.faults == {FrameFault.LONG: 1}
    assert counters.bytes_in == 2_000_002 + len(frame(PING))


def test_flood_in_one_piece_is_counted_once_too() -> None:
    counters = LinkCounters()
    assert Deframer(counters).feed(b"\0" + b"\x55" * 9999 + b"\0" + frame(PING)) == [PING]
    assert counters.faults == {FrameFault.LONG: 1}


@pytest.mark.parametrize("extra", [0, 1])
def test_longest_frame_is_judged_alike_whole_and_byte_by_byte(extra: int) -> None:
    stream = b"\0" + b"\x01" * (MAX_FRAME + extra) + b"\0"
    whole, single = LinkCounters(), LinkCounters()
    Deframer(whole).feed(stream)
    deframer = Deframer(single)
    for byte in stream:
        deframer.feed(bytes([byte]))
    assert whole.faults == single.faults
    assert (FrameFault.LONG in whole.faults) == bool(extra)


@pytest.mark.parametrize("before", [b"boot: 3 sensors ok\r\n", frame(PING)[3:-1], b"U" * 3000])
def test_quiet_start_does_not_count_what_precedes_the_first_delimiter(before: bytes) -> None:
    counters = LinkCounters()
    deframer = Deframer(counters)
    assert deframer.feed(before) == []
    assert deframer.feed(b"\0" + frame(PING)) == [PING]
    assert not counters.faults


def test_first_frame_is_used_when_it_is_whole() -> None:
    assert Deframer(LinkCounters()).feed(frame(PING)) == [PING]


def test_boot_text_in_the_middle_costs_one_fault_and_no_frame() -> None:
    counters = LinkCounters()
    stream = frame(PING) + b"reset cause: watchdog\r\n" + b"\0" + frame(PING)
    assert Deframer(counters).feed(stream) == [PING, PING]
    assert counters.faults.total() == 1


def test_reset_forgets_half_a_frame_and_is_quiet_again() -> None:
    counters = LinkCounters()
    deframer = Deframer(counters)
    deframer.feed(frame(PING) + frame(PING)[:4])
    deframer.reset()
    assert deframer.feed(frame(PING)[4:] + frame(PING)) == [PING]
    assert not counters.faults


def test_reset_ends_the_dropping_of_a_flood() -> None:
    deframer = Deframer(LinkCounters())
    deframer.feed(b"\0" + b"U" * 2000)
    deframer.reset()
    assert deframer.feed(frame(PING)) == [PING]


def test_empty_frames_mean_nothing() -> None:
    counters = LinkCounters()
    assert Deframer(counters).feed(b"\0\0\0" + frame(PING) + b"\0\0") == [PING]
    assert not counters.faults


def test_any_bytes_leave_it_bounded_and_in_step_at_the_next_delimiter() -> None:
    draw = random.Random(20)
    deframer = Deframer(LinkCounters())
    for _ in range(3000):
        noise = draw.randbytes(draw.randrange(0, 900))
        deframer.feed(noise)
        assert kept_bytes(deframer) <= MAX_FRAME
        assert deframer.feed(b"\0" + frame(PING)) == [PING]
