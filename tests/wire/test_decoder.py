"""From bytes to messages and runs: sets joined, the hello in force, nothing lost or invented."""

import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.blocks import NO_VALUE, RawRun
from ingest.core.channels import CHANNELS, Channel
from ingest.core.counters import FrameFault, LinkCounters
from ingest.core.ids import BootId, HeadId, MonotonicNs
from ingest.wire.assembly import Assembler, Received
from ingest.wire.codes import EventCode, status_byte
from ingest.wire.commands import ClockPing
from ingest.wire.decoder import Decoder
from ingest.wire.framing import frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import Message, encode
from ingest.wire.reports import Ack, ClockPong, Event, Status
from ingest.wire.sample import Batch, Sample

BOOT = BootId(43981)
NEXT_BOOT = BootId(43982)
HEAD = HeadId("4c480a1700c3d52e")
NOW = MonotonicNs(5)


def declared(*channels: Channel) -> tuple[ChannelInfo, ...]:
    return tuple(ChannelInfo.of(c, rate_dhz=1000, low=-900000, high=900000) for c in channels)


FULL = Hello(HEAD, BOOT, "1.0.0", channels=declared(*CHANNELS))
ONE_SET = Hello(HEAD, BOOT, "1.0.0", channels=declared(*CHANNELS[:4]))


def sample(seq: int, which: int = 0, boot: BootId = BOOT, flags: int = 0) -> Sample:
    """The sample of a number; its codes tell set, channel and number apart."""
    first = seq * 10 + which * 4
    codes = tuple(range(first, first + 4))
    return Sample(which, status_byte(boot, flags), seq, seq * 10_000, codes)


def pair(seq: int) -> list[Message]:
    return [sample(seq), sample(seq, 1)]


def whole(seq: int) -> tuple[int, ...]:
    return tuple(range(seq * 10, seq * 10 + 8))


def halved(seq: int) -> tuple[int, ...]:
    return (*range(seq * 10, seq * 10 + 4), *[NO_VALUE] * 4)


def stream(*messages: Message) -> bytes:
    return b"\0" + b"".join(frame(encode(message)) for message in messages)


def event(number: int, boot: BootId = BOOT) -> Event:
    return Event(status_byte(boot), 3, 30_000, EventCode.TAKE_STOP, number)


def flat(received: list[Received]) -> list[object]:
    """Each sample by itself, without its arrival; reports as they are."""
    out: list[object] = []
    for item in received:
        if isinstance(item, RawRun):
            rows = zip(item.seq, item.t_us, item.status, item.codes.T, strict=True)
            out += [(item.boot, int(s), int(t), int(f), tuple(c.tolist())) for s, t, f, c in rows]
        else:
            out.append(item)
    return out


def codes_in(received: list[Received]) -> list[tuple[int, ...]]:
    return [item[4] for item in flat(received) if isinstance(item, tuple)]


def decode_all(*messages: Message) -> tuple[list[Received], LinkCounters]:
    counters = LinkCounters()
    return Decoder(counters).feed(stream(*messages), NOW), counters


def test_a_run_holds_what_was_sent() -> None:
    received, counters = decode_all(FULL, *pair(7), *pair(8))
    hello, run = received
    assert hello == FULL
    assert isinstance(run, RawRun)
    assert run.boot == BOOT
    assert run.seq.tolist() == [7, 8]
    assert run.t_us.tolist() == [70_000, 80_000]
    assert run.arrived_ns.tolist() == [5, 5]
    assert run.codes.shape == (8, 2)
    assert [tuple(row) for row in run.codes.T.tolist()] == [whole(7), whole(8)]
    kinds = [a.dtype for a in (run.seq, run.t_us, run.status, run.codes, run.arrived_ns)]
    assert kinds == [np.int64, np.int64, np.uint8, np.int32, np.int64]
    assert (counters.frames, counters.samples, counters.orphans) == (5, 2, 0)


def test_codes_keep_their_sign_over_all_24_bits() -> None:
    codes = (-1, (1 << 23) - 1, -(1 << 23), -123456)
    received, _ = decode_all(ONE_SET, Sample(0, status_byte(BOOT), 1, 2, codes))
    assert codes_in(received) == [(*codes, *[NO_VALUE] * 4)]


def test_status_flags_are_passed_on_without_the_boot_mark() -> None:
    received, _ = decode_all(ONE_SET, sample(1, flags=3))
    assert flat(received)[1][3] == 3  # type: ignore[index]


def test_a_lost_second_set_leaves_a_sample_without_it() -> None:
    received, counters = decode_all(FULL, sample(1), *pair(2))
    assert codes_in(received) == [halved(1), whole(2)]
    assert counters.orphans == 0


def test_a_lost_first_set_loses_the_sample() -> None:
    received, counters = decode_all(FULL, *pair(1), sample(2, 1), *pair(3))
    assert codes_in(received) == [whole(1), whole(3)]
    assert counters.orphans == 1


def test_sets_of_different_samples_are_never_joined() -> None:
    other_time = replace(sample(1, 1), t_us=99)
    other_number = replace(sample(1, 1), seq=2)
    sent = [sample(1), sample(2, 1), sample(1), other_time, sample(1), other_number, *pair(3)]
    received, counters = decode_all(FULL, *sent)
    assert codes_in(received) == [halved(1), halved(1), halved(1), whole(3)]
    assert counters.orphans == 3


def test_a_first_set_that_came_twice_is_not_taken_for_the_second_set() -> None:
    received, _ = decode_all(FULL, sample(1), *pair(1))
    assert codes_in(received) == [halved(1), whole(1)]


def test_a_second_set_that_came_twice_is_used_once() -> None:
    received, counters = decode_all(FULL, *pair(1), sample(1, 1), *pair(2))
    assert codes_in(received) == [whole(1), whole(2)]
    assert counters.orphans == 1


def test_a_sample_waits_for_its_second_set_and_keeps_the_arrival_of_what_completed_it() -> None:
    decoder = Decoder(LinkCounters())
    decoder.feed(stream(FULL), NOW)
    assert decoder.feed(stream(sample(1)), MonotonicNs(10)) == []
    (run,) = decoder.feed(stream(sample(1, 1), sample(2)), MonotonicNs(20))
    assert isinstance(run, RawRun)
    assert run.arrived_ns.tolist() == [20]
    (run,) = decoder.feed(stream(*pair(3)), MonotonicNs(30))
    assert isinstance(run, RawRun)
    assert run.arrived_ns.tolist() == [20, 30]
    assert codes_in([run]) == [halved(2), whole(3)]


def test_a_waiting_sample_keeps_its_arrival_over_reads_that_bring_nothing() -> None:
    decoder = Decoder(LinkCounters())
    decoder.feed(stream(FULL, sample(1)), MonotonicNs(10))
    assert decoder.feed(b"\0", MonotonicNs(20)) == []
    (run, _) = decoder.feed(stream(FULL), MonotonicNs(30))
    assert isinstance(run, RawRun)
    assert run.arrived_ns.tolist() == [10]


def test_a_head_with_one_set_never_waits() -> None:
    received, _ = decode_all(ONE_SET, sample(1))
    assert codes_in(received) == [halved(1)]


def test_what_the_hello_does_not_declare_is_no_value() -> None:
    some = replace(FULL, channels=declared(Channel.INCL_Y, Channel.STEER))
    received, _ = decode_all(some, *pair(1))
    (codes,) = codes_in(received)
    assert [row for row, code in enumerate(codes) if code != NO_VALUE] == [1, 5]


def test_a_set_that_the_hello_does_not_declare_is_not_used() -> None:
    received, counters = decode_all(ONE_SET, *pair(1))
    assert codes_in(received) == [halved(1)]
    assert counters.orphans == 1


def test_a_channel_that_is_not_understood_leaves_the_others() -> None:
    odd = replace(FULL.channels[0], exponent=-6)
    received, _ = decode_all(replace(FULL, channels=(odd, *FULL.channels[1:])), *pair(1))
    assert codes_in(received) == [(NO_VALUE, *whole(1)[1:])]


def test_nothing_but_a_hello_is_used_before_the_first_hello() -> None:
    early = [*pair(1), event(0), ClockPong(status_byte(BOOT), 1, 2, 3)]
    received, counters = decode_all(*early, FULL, *pair(2))
    assert flat(received)[0] == FULL
    assert codes_in(received) == [whole(2)]
    assert counters.orphans == 4
    assert counters.samples == 1


def test_a_hello_of_an_unknown_major_version_is_shown_and_its_samples_are_not() -> None:
    counters = LinkCounters()
    decoder = Decoder(counters)
    alien = replace(FULL, major=2)
    received = decoder.feed(stream(FULL, alien, *pair(1)), NOW)
    assert [item.major for item in received if isinstance(item, Hello)] == [1, 2]
    assert codes_in(received) == []
    assert decoder.hello is None
    assert counters.orphans == 2


def test_samples_of_another_start_end_the_hello_in_force() -> None:
    counters = LinkCounters()
    decoder = Decoder(counters)
    strange = [sample(0, boot=NEXT_BOOT), sample(0, 1, boot=NEXT_BOOT)]
    received = decoder.feed(stream(FULL, *pair(1), *strange, *pair(2)), NOW)
    assert codes_in(received) == [whole(1)]
    assert decoder.hello is None
    assert counters.orphans == 4
    again = decoder.feed(stream(replace(FULL, boot=NEXT_BOOT), *strange), NOW)
    assert codes_in(again) == [whole(0)]


def test_a_report_of_another_start_ends_the_hello_in_force() -> None:
    received, counters = decode_all(FULL, sample(1), event(1, boot=NEXT_BOOT), sample(2))
    assert flat(received) == [FULL, (BOOT, 1, 10_000, 0, halved(1))]
    assert counters.orphans == 2


def test_a_set_of_another_start_is_not_joined_to_a_waiting_one() -> None:
    decoder = Decoder(LinkCounters())
    decoder.feed(stream(FULL, sample(1)), NOW)
    received = decoder.feed(stream(sample(1, 1, boot=NEXT_BOOT)), NOW)
    assert codes_in(received) == [halved(1)]


def test_a_new_hello_sends_the_waiting_sample_off_under_the_old_boot() -> None:
    newer = replace(FULL, boot=NEXT_BOOT)
    received, _ = decode_all(FULL, sample(1), newer)
    assert flat(received) == [FULL, (BOOT, 1, 10_000, 0, halved(1)), newer]


def test_messages_come_out_in_the_order_in_which_they_were_sent() -> None:
    ack = Ack(status_byte(BOOT), 9, 2, 1000)
    health = Status(status_byte(BOOT), 5, 80, 2000, 0, 0, 0)
    sent: list[Message] = [FULL, *pair(1), event(1), *pair(2), health, ack, *pair(3)]
    received, _ = decode_all(*sent)
    kinds = [type(item) for item in received]
    assert kinds == [Hello, RawRun, Event, RawRun, Status, Ack, RawRun]


def test_an_event_that_is_repeated_counts_once() -> None:
    received, _ = decode_all(FULL, event(1), event(1), event(2), event(2), event(1))
    numbers = [item.number for item in received if isinstance(item, Event)]
    assert numbers == [1, 2, 1]


def test_a_repeated_hello_does_not_make_an_event_count_twice() -> None:
    received, _ = decode_all(FULL, event(1), FULL, event(1))
    assert len([item for item in received if isinstance(item, Event)]) == 1


def test_an_event_of_a_new_start_counts_whatever_its_number() -> None:
    newer = replace(FULL, boot=NEXT_BOOT)
    received, _ = decode_all(FULL, event(0), newer, event(0, boot=NEXT_BOOT))
    assert len([item for item in received if isinstance(item, Event)]) == 2


def test_a_batch_is_the_same_as_its_samples() -> None:
    parts = [sample(1), sample(1, 1), sample(2), sample(2, 1), sample(3)]
    batched, counters = decode_all(FULL, Batch(tuple(parts)), sample(3, 1))
    single, _ = decode_all(FULL, *parts, sample(3, 1))
    assert flat(batched) == flat(single)
    assert counters.frames == 3


def test_a_batch_with_a_set_of_a_later_version_gives_the_others() -> None:
    body = bytearray(encode(Batch((sample(1), sample(1), sample(2)))))
    body[2 + 20] = 0x13
    counters = LinkCounters()
    received = Decoder(counters).feed(stream(ONE_SET) + frame(bytes(body)), NOW)
    assert codes_in(received) == [halved(1), halved(2)]
    assert counters.faults == {FrameFault.TYPE: 1}


def test_a_longer_sample_of_a_later_version_is_read_as_far_as_it_is_known() -> None:
    longer = frame(encode(sample(1)) + b"\x01\x02")
    received = Decoder(LinkCounters()).feed(stream(ONE_SET) + longer, NOW)
    assert codes_in(received) == [halved(1)]


def test_duplicates_gaps_and_disorder_are_passed_on_for_the_chain_to_judge() -> None:
    numbers = [5, 5, 9, 7, 65535, 0]
    received, counters = decode_all(ONE_SET, *(sample(seq) for seq in numbers))
    assert [item[1] for item in flat(received) if isinstance(item, tuple)] == numbers
    assert (counters.lost, counters.duplicates) == (0, 0)


def test_an_echo_of_the_hosts_own_message_is_counted_and_not_delivered() -> None:
    received, counters = decode_all(FULL, ClockPing(3))
    assert received == [FULL]
    assert counters.faults == {FrameFault.TYPE: 1}


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        (b"", FrameFault.SHORT),
        (b"\x10" * 19, FrameFault.LENGTH),
        (b"\x15" * 20, FrameFault.TYPE),
        (b"\x20\x00", FrameFault.VALUE),
        (b"\x55", FrameFault.TYPE),
        (b"\x32", FrameFault.LENGTH),
    ],
)
def test_bodies_without_frames_are_held_to_the_same_rules(body: bytes, fault: FrameFault) -> None:
    counters = LinkCounters()
    assert Assembler(counters).take([body], NOW) == []
    assert counters.faults == {fault: 1}
    assert counters.frames == 0


def test_reset_forgets_head_and_waiting_sample() -> None:
    decoder = Decoder(LinkCounters())
    decoder.feed(stream(FULL, sample(1)), NOW)
    decoder.reset()
    assert decoder.hello is None
    assert codes_in(decoder.feed(stream(sample(1, 1), FULL, *pair(2)), NOW)) == [whole(2)]


parts = st.sampled_from(
    [
        frame(encode(message))
        for message in (
            FULL,
            ONE_SET,
            replace(FULL, boot=NEXT_BOOT),
            replace(FULL, major=9),
            *pair(1),
            *pair(2),
            sample(3, boot=NEXT_BOOT),
            event(1),
            event(2),
            Batch((sample(4), sample(4, 1), sample(5))),
            ClockPong(status_byte(BOOT), 1, 2, 3),
            ClockPing(1),
        )
    ]
    + [b"\0", b"boot text\r\n", b"U" * 700]
)
streams = st.lists(parts | st.binary(max_size=6), max_size=30).map(
    lambda found: stream(FULL) + b"".join(found)
)


def outcome(data: bytes, cuts: list[int]) -> tuple[list[object], LinkCounters]:
    counters = LinkCounters()
    decoder = Decoder(counters)
    edges = [0, *sorted(cuts), len(data)]
    received: list[Received] = []
    for start, end in pairwise(edges):
        received += decoder.feed(data[start:end], NOW)
    return flat(received), counters


@given(streams, st.randoms(use_true_random=False))
@settings(max_examples=200, deadline=None)
def test_result_does_not_depend_on_how_the_stream_is_cut(data: bytes, draw: random.Random) -> None:
    cuts = [draw.randint(0, len(data)) for _ in range(draw.randint(1, 12))]
    at_once = outcome(data, [])
    assert outcome(data, cuts) == at_once
    assert outcome(data, list(range(len(data)))) == at_once


@given(st.lists(st.binary(max_size=1500), max_size=20))
@settings(deadline=None)
def test_any_bytes_never_raise_and_never_stop_what_follows(chunks: list[bytes]) -> None:
    decoder = Decoder(LinkCounters())
    for chunk in chunks:
        decoder.feed(chunk, NOW)
    assert codes_in(decoder.feed(stream(FULL, *pair(6)), NOW)) == [whole(6)]


@given(st.lists(st.binary(max_size=300), max_size=20))
@settings(deadline=None)
def test_any_bodies_never_raise(bodies: list[bytes]) -> None:
    assembler = Assembler(LinkCounters())
    assembler.take([encode(FULL), *bodies], NOW)
    assert codes_in(assembler.take([encode(m) for m in (FULL, *pair(6))], NOW))[-1] == whole(6)
