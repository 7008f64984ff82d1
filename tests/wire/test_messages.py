"""Every message survives the wire, and no body makes the decoder fail."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.channels import CHANNELS, Channel
from ingest.core.counters import FrameFault
from ingest.core.ids import BootId, HeadId
from ingest.wire.codes import CommandOp, EventCode, MessageType, Mounting, Unit, status_byte
from ingest.wire.commands import ClockPing, Command, identify, set_rate
from ingest.wire.framing import MAX_BODY
from ingest.wire.hello import MAX_CHANNELS, ChannelInfo, Hello
from ingest.wire.messages import Message, decode, encode
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status
from ingest.wire.sample import MAX_BATCH, Batch, Sample, encode_sample

U8 = st.integers(0, 0xFF)
U16 = st.integers(0, 0xFFFF)
U32 = st.integers(0, 0xFFFFFFFF)
I24 = st.integers(-(1 << 23), (1 << 23) - 1)
I32 = st.integers(-(1 << 31), (1 << 31) - 1)

samples = st.builds(Sample, st.integers(0, 1), U8, U16, U32, st.tuples(I24, I24, I24, I24))
ranges = st.tuples(I32, I32).map(sorted)
entries = st.builds(
    lambda kind, unit, exponent, rate, span: ChannelInfo(0, kind, unit, exponent, rate, *span),
    U8,
    U16,
    st.integers(-128, 127),
    U16,
    ranges,
)
channel_lists = st.lists(entries, max_size=MAX_CHANNELS).map(
    lambda found: tuple(replace(entry, code=code) for code, entry in enumerate(found))
)
identities = st.binary(min_size=8, max_size=8).filter(lambda b: len(set(b)) > 1)
printable = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=24)
hellos = st.builds(
    Hello,
    head=identities.map(lambda b: HeadId(b.hex())),
    boot=U32.map(BootId),
    firmware=printable,
    mounting=st.sampled_from(Mounting),
    rate_dhz=st.integers(1, 10_000),
    streaming=st.booleans(),
    channels=channel_lists,
    minor=U8,
)
statuses = st.builds(
    Status,
    U8,
    U32,
    st.none() | st.integers(0, 100),
    st.none() | st.integers(-32767, 32767),
    U16,
    U16,
    U16,
)
messages: st.SearchStrategy[Message] = st.one_of(
    samples,
    st.lists(samples, min_size=1, max_size=MAX_BATCH).map(lambda s: Batch(tuple(s))),
    hellos,
    statuses,
    st.builds(Event, U8, U16, U32, st.sampled_from(EventCode), U8),
    st.builds(ClockPong, U8, U16, U32, U32),
    st.builds(Ack, U8, U16, U8, U16),
    st.builds(Refusal, U8, U16, U8, U8, U16),
    st.builds(ClockPing, U16),
    st.builds(Command, U8, U16, U16),
)


@given(messages)
def test_every_message_comes_back_as_it_was(message: Message) -> None:
    assert decode(encode(message)) == message


@given(messages, st.binary(min_size=1, max_size=40))
def test_bytes_that_a_newer_version_appends_change_nothing(message: Message, more: bytes) -> None:
    assert decode(encode(message) + more) == message


@given(messages)
@settings(max_examples=40)
def test_every_truncation_is_refused(message: Message) -> None:
    body = encode(message)
    assert decode(b"") is FrameFault.SHORT
    for size in range(1, len(body)):
        assert decode(body[:size]) is FrameFault.LENGTH


@given(st.binary(max_size=MAX_BODY) | st.builds(lambda t, b: bytes([t]) + b, U8, st.binary()))
def test_no_body_makes_the_decoder_raise(body: bytes) -> None:
    message = decode(body)
    if not isinstance(message, FrameFault | Hello | Batch):
        assert decode(encode(message)) == message


@given(st.sampled_from(MessageType), st.binary(min_size=19, max_size=200))
def test_no_body_of_a_known_type_makes_the_decoder_raise(kind: MessageType, rest: bytes) -> None:
    decode(bytes([kind]) + rest)


@given(messages)
def test_all_but_hello_and_batch_fit_the_smallest_notification(message: Message) -> None:
    if not isinstance(message, Hello | Batch):
        assert len(encode(message)) <= 20


def test_largest_batch_and_largest_hello_fit_the_largest_body() -> None:
    entry = ChannelInfo.of(Channel.INCL_X, rate_dhz=1, low=0, high=1)
    hello = Hello(HeadId("00" * 7 + "01"), BootId(1), "x" * 24, channels=(entry,) * MAX_CHANNELS)
    sample = Sample(0, 0, 0, 0, (0, 0, 0, 0))
    assert len(encode(hello)) <= MAX_BODY
    assert len(encode(Batch((sample,) * MAX_BATCH))) <= MAX_BODY
    assert len(encode(Batch((sample,) * (MAX_BATCH + 1)))) > MAX_BODY


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_channel_of_version_1_is_understood(channel: Channel) -> None:
    info = ChannelInfo.of(channel, rate_dhz=1000, low=-5, high=5)
    assert info.channel is channel


@pytest.mark.parametrize(
    "change", [{"code": 8}, {"kind": 9}, {"kind": 2}, {"unit": Unit.CELSIUS}, {"exponent": -3}]
)
def test_a_channel_declared_otherwise_is_not_used(change: dict[str, int]) -> None:
    info = ChannelInfo.of(Channel.INCL_X, rate_dhz=1000, low=-5, high=5)
    assert replace(info, **change).channel is None


@pytest.mark.parametrize(
    "message",
    [
        Command(1, 1 << 16),
        Sample(0, 0, 0, 0, (1 << 23, 0, 0, 0)),
        Sample(0, 0, 0, 0, (0, 0, 0)),
        Event(256, 0, 0, EventCode.TAKE_STOP, 0),
        Batch((Sample(0, 300, 0, 0, (0, 0, 0, 0)),)),
    ],
)
def test_refuses_to_write_a_field_that_does_not_fit(message: Message) -> None:
    with pytest.raises(ValueError, match=r"\w+"):
        encode(message)


def test_sequence_and_time_wrap_when_written() -> None:
    body = encode_sample(1, 0, (1 << 16) + 3, (1 << 32) + 4, (0, 0, 0, 0))
    assert decode(body) == Sample(1, 0, 3, 4, (0, 0, 0, 0))


def test_status_byte_holds_flags_and_the_low_bits_of_the_boot_id() -> None:
    assert status_byte(BootId(0xABCD), 1) == 0xA1
    assert status_byte(BootId(0xFFFFFFF8), 2) == 0x02


def test_commands_take_human_units() -> None:
    assert identify(7, duration_s=5.0) == Command(CommandOp.IDENTIFY, 7, 50)
    assert set_rate(8, rate_hz=62.5) == Command(CommandOp.RATE, 8, 625)
