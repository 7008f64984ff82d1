"""Frames and the receiver of the C reference against the Python ones, on any stream."""

import zlib

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.counters import FrameFault, LinkCounters
from ingest.wire.commands import ClockPing, Command
from ingest.wire.framing import MAX_BODY, MAX_FRAME, Deframer, frame
from ingest.wire.messages import decode, encode
from ingest.wire.reports import ClockPong

U16 = st.integers(0, 0xFFFF)
PINGS = st.builds(ClockPing, U16)
COMMANDS = st.builds(Command, st.integers(0, 255), U16, U16)
REQUESTS = PINGS | COMMANDS
ECHOES = st.builds(ClockPong, st.integers(0, 255), U16, U16, U16)
LONG = st.integers(MAX_FRAME - 3, MAX_FRAME + 3).map(lambda size: b"\x01" * size)
NEWER = st.builds(lambda m, more: encode(m) + more, REQUESTS, st.binary(max_size=20))
BODIES = NEWER | ECHOES.map(encode) | st.binary(min_size=1, max_size=8)


@st.composite
def damaged(draw):
    """A frame with a bit turned, cut short or run into the next."""
    data = bytearray(frame(encode(draw(REQUESTS))))
    at = draw(st.integers(0, len(data) - 1))
    data[at] ^= draw(st.sampled_from([0, 1, 16, 128]))
    return bytes(data[: draw(st.integers(0, len(data)))])


PIECES = BODIES.map(frame) | damaged() | st.binary(max_size=12) | LONG | st.just(b"\0")


def asked(message):
    if isinstance(message, ClockPing):
        return {"message": "ping", "ping_id": message.ping_id}
    fields = {"op": message.op, "command_id": message.command_id, "value": message.value}
    return {"message": "command"} | fields


def heard_in_python(data):
    """What a head has to make of a stream: its requests, and how many frames it dropped."""
    counters = LinkCounters()
    messages = [decode(body) for body in Deframer(counters).feed(data)]
    found = [asked(m) for m in messages if isinstance(m, ClockPing | Command)]
    dropped = counters.faults.total() - counters.faults[FrameFault.LONG]
    return found, dropped + len(messages) - len(found), counters.faults[FrameFault.LONG]


@given(st.lists(PIECES, max_size=12).map(b"".join), st.binary(max_size=4))
@settings(derandomize=True, deadline=None, max_examples=400)
def test_hears_in_any_stream_what_python_hears(head_in_c, data, start):
    stream = head_in_c.receiver()
    found, dropped, long = heard_in_python(start + data + b"\0")
    assert stream.feed(start + data + b"\0") == found
    assert stream.rejected == dropped + long


@given(st.lists(REQUESTS, min_size=1, max_size=6), st.data())
@settings(derandomize=True, deadline=None, max_examples=100)
def test_hears_what_python_says_however_it_is_cut(head_in_c, requests, data):
    sent = b"\0" + b"".join(frame(encode(request)) for request in requests)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(sent)), max_size=5)))
    stream, found = head_in_c.receiver(), []
    for begin, end in zip([0, *cuts], [*cuts, len(sent)], strict=True):
        found += stream.feed(sent[begin:end])
    assert found == [asked(request) for request in requests]
    assert stream.rejected == 0


@given(st.lists(st.binary(max_size=30) | damaged(), max_size=6), REQUESTS)
@settings(derandomize=True, deadline=None, max_examples=100)
def test_hears_the_first_whole_frame_after_any_garbage(head_in_c, garbage, request):
    said = b"".join(garbage) + b"\0" + frame(encode(request))
    assert head_in_c.receiver().feed(said)[-1] == asked(request)


def zeros_at(size, places):
    body = bytearray(b"\x37" * size)
    for place in places:
        body[place % size] = 0
    return bytes(body)


PATTERNS = st.builds(
    zeros_at, st.integers(1, MAX_BODY), st.lists(st.integers(0, MAX_BODY), max_size=4)
)


@given(PATTERNS | st.binary(min_size=1, max_size=MAX_BODY))
@settings(derandomize=True, deadline=None, max_examples=300)
def test_wraps_any_body_as_python_does(head_in_c, body):
    expected = frame(body)
    assert head_in_c.frame(body, room=len(expected)) == expected
    assert head_in_c.frame(body, room=len(expected) - 1) == b""
    assert head_in_c.frame_to_sink(body) == (expected, len(expected))


@pytest.mark.parametrize("size", [*range(245, 256), 499, 500, 503, 504, 505, 511, 512])
def test_wraps_bodies_without_zeros_about_full_blocks(head_in_c, size):
    body = b"\x55" * size
    assert head_in_c.frame(body) == frame(body)


def test_states_enough_room_for_any_frame(head_in_c):
    for size in range(1, MAX_BODY + 1):
        stated = size + 4 + (size + 4 + 253) // 254 + 1  # LH_FRAME_ROOM
        assert head_in_c.frame(b"\x55" * size, room=stated) == frame(b"\x55" * size)


@pytest.mark.parametrize("size", [0, MAX_BODY + 1])
def test_wraps_no_body_of_a_wrong_size(head_in_c, size):
    assert head_in_c.frame(b"\x55" * size) == b""
    assert head_in_c.frame_to_sink(b"\x55" * size) == (b"", 0)


def test_writes_the_check_value_of_the_crc(head_in_c):
    """CRC-32/ISO-HDLC of "123456789" is 0xCBF43926 (catalogue of parametrised CRCs, check)."""
    assert head_in_c.frame(b"123456789") == b"\x0e123456789\x26\x39\xf4\xcb\x00"


def test_takes_the_longest_request_and_drops_a_longer_one(head_in_c):
    longest = encode(ClockPing(7)) + b"\x55" * (MAX_BODY - 4)
    stream = head_in_c.receiver()
    assert stream.feed(b"\0" + frame(longest)) == [{"message": "ping", "ping_id": 7}]
    assert stream.feed(b"\x01" * 100_000 + b"\0" + frame(longest)) != []
    assert stream.rejected == 1


def test_drops_a_sound_request_that_is_too_long(head_in_c):
    body = encode(ClockPing(7)) + b"\x55" * (MAX_BODY - 3)
    raw = cobs.encode(body + zlib.crc32(body).to_bytes(4, "little"))
    assert len(raw) == MAX_FRAME + 1
    stream = head_in_c.receiver()
    assert stream.feed(b"\0" + raw + b"\0") == []
    assert stream.rejected == 1


def test_stops_counting_dropped_frames_at_the_most(head_in_c):
    stream = head_in_c.receiver()
    stream.feed(b"\0" + b"\x01\0" * 65_540)
    assert stream.rejected == 65_535


def test_counts_no_noise_before_the_first_delimiter(head_in_c):
    stream = head_in_c.receiver()
    assert stream.feed(b"boot: ready\r\n\0") == []
    assert stream.rejected == 0
    stream.feed(b"boot: ready\r\n\0")
    assert stream.rejected == 1


def test_uses_a_sound_frame_before_the_first_delimiter(head_in_c):
    assert head_in_c.receiver().feed(frame(encode(ClockPing(9)))) != []
