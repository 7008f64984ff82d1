"""What the C reference says, Python reads with the same values; what is unsound it does not say."""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.blocks import NO_VALUE
from ingest.core.channels import CHANNELS
from ingest.wire.codes import EventCode, Mounting
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import decode, encode
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status
from ingest.wire.sample import Batch, Sample

U8 = st.integers(0, 0xFF)
U16 = st.integers(0, 0xFFFF)
U32 = st.integers(0, 0xFFFFFFFF)
I32 = st.integers(-(1 << 31), (1 << 31) - 1)
CODES = st.integers(NO_VALUE, (1 << 23) - 1) | st.none()
TEXT = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=24)
HEADS = st.binary(min_size=8, max_size=8).filter(lambda head: len(set(head)) > 1)

quickly = settings(derandomize=True, deadline=None, max_examples=150)


def sample_of(set_index):
    fields = {"set": st.just(set_index), "status": U8, "seq": U16, "t_us": U32}
    return st.fixed_dictionaries(fields | {"codes": st.lists(CODES, min_size=4, max_size=4)})


SAMPLES = sample_of(0) | sample_of(1)


def as_python(value):
    codes = tuple(NO_VALUE if code is None else code for code in value["codes"])
    return Sample(value["set"], value["status"], value["seq"], value["t_us"], codes)


@given(SAMPLES)
@quickly
def test_python_reads_the_sample(head_in_c, value):
    assert decode(head_in_c.body({"message": "sample"} | value)) == as_python(value)


@given(st.lists(SAMPLES, min_size=1, max_size=25))
@quickly
def test_python_reads_the_batch(head_in_c, values):
    body = head_in_c.body({"message": "batch", "samples": values}, room=2 + 20 * len(values))
    assert decode(body) == Batch(tuple(map(as_python, values)))


@given(I32, st.integers(0, 3))
@quickly
def test_sends_a_code_beyond_24_bits_as_no_value(head_in_c, code, place):
    value = {"message": "sample", "set": 1, "status": 0, "seq": 0, "t_us": 0}
    codes = [code if at == place else 0 for at in range(4)]
    fits = NO_VALUE <= code < 1 << 23
    read = decode(head_in_c.body(value | {"codes": codes}))
    assert read.codes[place] == (code if fits else NO_VALUE)


STATUSES = st.builds(
    Status,
    status=U8,
    t_us=U32,
    battery_percent=st.integers(0, 100) | st.none(),
    temperature_cdegc=st.integers(-32767, 32767) | st.none(),
    sensor_errors=U16,
    samples_dropped=U16,
    frames_rejected=U16,
)
OTHERS = {
    "status": STATUSES,
    "event": st.builds(Event, U8, U16, U32, st.just(EventCode.TAKE_STOP), U8),
    "pong": st.builds(ClockPong, U8, U16, U32, U32),
    "ack": st.builds(Ack, U8, U16, U8, U16),
    "refusal": st.builds(Refusal, U8, U16, U8, U8, U16),
}


@pytest.mark.parametrize("name", OTHERS)
@given(data=st.data())
@quickly
def test_python_reads_all_other_messages(head_in_c, name, data):
    message = data.draw(OTHERS[name])
    value = {"message": name} | dataclasses.asdict(message)
    size = len(encode(message))
    assert decode(head_in_c.body(value, room=size)) == message
    assert head_in_c.body(value, room=size - 1) == b""


@st.composite
def hellos(draw):
    rows = draw(st.lists(st.sampled_from(CHANNELS), unique=True))
    entries = []
    for channel in rows:
        low, high = sorted((draw(I32), draw(I32)))
        rate_dhz = draw(st.integers(0, 10_000))
        entries.append(ChannelInfo.of(channel, rate_dhz=rate_dhz, low=low, high=high))
    return Hello(
        head=draw(HEADS).hex(),
        boot=draw(U32),
        firmware=draw(TEXT),
        mounting=draw(st.sampled_from(Mounting)),
        rate_dhz=draw(st.integers(1, 10_000)),
        streaming=draw(st.booleans()),
        channels=tuple(entries),
    )


def entry_of(info):
    value = dataclasses.asdict(info)
    return {"channel": value.pop("code")} | value


def value_of(hello):
    value = {"message": "hello", "flags": int(hello.streaming)} | dataclasses.asdict(hello)
    return value | {"channels": [entry_of(info) for info in hello.channels]}


@given(hellos())
@quickly
def test_python_reads_the_hello(head_in_c, hello):
    value = value_of(hello)
    size = 45 + 16 * len(hello.channels)
    assert decode(head_in_c.body(value, room=size)) == hello
    assert head_in_c.body(value, room=size - 1) == b""


SOUND = {"channel": 1, "kind": 1, "rate_dhz": 1000, "low": -5, "high": 5}
HELLO = {
    "message": "hello",
    "head": "4c480a1700c3d52e",
    "boot": 7,
    "firmware": "1.0.0",
    "mounting": 0,
    "rate_dhz": 1000,
    "flags": 1,
    "channels": [SOUND],
}


def with_channel(**changed):
    return {"channels": [SOUND | changed]}


UNSOUND = {
    "identity of zeros": {"head": "00" * 8},
    "identity of ones": {"head": "ff" * 8},
    "mounting": {"mounting": 2},
    "no rate": {"rate_dhz": 0},
    "rate too high": {"rate_dhz": 10_001},
    "control character": {"firmware": "1.\x1b[0"},
    "letter beyond ASCII": {"firmware": "1.0\xe9"},
    "delete": {"firmware": "1.0\x7f"},
    "text too long": {"firmware": "1" * 25},
    "channel twice": {"channels": [SOUND, SOUND]},
    "upside down": with_channel(low=6),
    "kind of another channel": with_channel(kind=2),
    "elevation that turns": with_channel(channel=7, kind=2),
    "circular that does not": with_channel(channel=2, kind=1),
    "steer that does not": with_channel(channel=5, kind=1),
    "temperature in degrees": with_channel(channel=6, kind=1),
    "unknown channel": with_channel(channel=8),
    "channel far off": with_channel(channel=40),
    "rate of a channel": with_channel(rate_dhz=10_001),
    "too many": {"channels": [SOUND | {"channel": channel} for channel in range(17)]},
}


@pytest.mark.parametrize("name", UNSOUND)
def test_says_no_unsound_hello(head_in_c, name):
    assert head_in_c.body(HELLO)
    assert head_in_c.body(HELLO | UNSOUND[name]) == b""


@pytest.mark.parametrize("battery", [101, 254])
def test_says_no_battery_above_full(head_in_c, battery):
    value = {"message": "status", "status": 0, "t_us": 0, "temperature_cdegc": None}
    value |= {"sensor_errors": 0, "samples_dropped": 0, "frames_rejected": 0}
    assert head_in_c.body(value | {"battery_percent": 100})
    assert head_in_c.body(value | {"battery_percent": battery}) == b""


@pytest.mark.parametrize("code", [0, 2, 255])
def test_says_no_event_that_the_protocol_does_not_know(head_in_c, code):
    value = {"message": "event", "status": 0, "seq": 0, "t_us": 0, "number": 0}
    assert head_in_c.body(value | {"code": 1})
    assert head_in_c.body(value | {"code": code}) == b""


def test_says_no_set_beyond_the_second(head_in_c):
    sample = head_in_c.Sample()
    assert head_in_c.c.lh_put_sample(bytes(20), 20, 2, bytes(sample)) == 0


def test_says_no_empty_batch(head_in_c):
    assert head_in_c.body({"message": "batch", "samples": []}) == b""


SAMPLE = {"message": "sample", "set": 0, "status": 0, "seq": 0, "t_us": 0, "codes": [0] * 4}


@pytest.mark.parametrize("room", [*range(4), 19])
def test_writes_no_sample_without_room(head_in_c, room):
    assert head_in_c.body(SAMPLE, room=room) == b""


@pytest.mark.parametrize(("room", "most"), [(1, 0), (21, 0), (22, 1), (244, 12), (600, 25)])
def test_batches_as_many_as_fit(head_in_c, room, most):
    batch = {"message": "batch", "samples": [SAMPLE] * most}
    one_more = {"message": "batch", "samples": [SAMPLE] * (most + 1)}
    assert len(head_in_c.body(batch, room)) == (2 + 20 * most if most else 0)
    assert head_in_c.body(one_more, room) == b""


@pytest.mark.parametrize(("room", "most"), [(0, 0), (41, 0), (42, 1), (244, 6), (600, 12)])
def test_keeps_the_sets_of_a_sample_in_one_batch(head_in_c, room, most):
    samples = [head_in_c.sample(SAMPLE | {"seq": seq}) for seq in range(20)]
    body, taken = head_in_c.both(samples, room)
    assert taken == most
    read = decode(body).samples if most else ()
    assert [(s.seq, s.set_index) for s in read] == [(n, i) for n in range(most) for i in (0, 1)]
