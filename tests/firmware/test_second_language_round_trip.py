"""What the MicroPython head writes, as the host reads it, and the other way round."""

from itertools import pairwise
from typing import Any

import levelhead as lh
import levelhead_link as link
import main as example
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.core.blocks import NO_VALUE, RawRun
from ingest.core.counters import LinkCounters
from ingest.core.ids import MonotonicNs
from ingest.core.ports import LinkForm
from ingest.wire.commands import ClockPing, Command
from ingest.wire.decoder import Decoder
from ingest.wire.framing import Deframer
from ingest.wire.hello import Hello
from ingest.wire.outgoing import outgoing
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status

unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])

u8 = st.integers(0, 0xFF)
u16 = st.integers(0, 0xFFFF)
u32 = st.integers(0, 0xFFFFFFFF)
flags = st.integers(0, 0x1F)
more = st.binary(max_size=8)
code = st.none() | st.integers(NO_VALUE + 1, -NO_VALUE - 1)
four = st.lists(code, min_size=4, max_size=4)
ends = st.lists(st.integers(-(1 << 31), (1 << 31) - 1), min_size=2, max_size=2).map(sorted)


@st.composite
def hellos(draw: st.DrawFn) -> dict[str, Any]:
    rate = draw(st.integers(1, 10000))
    channels = draw(st.lists(st.integers(0, 7), unique=True))
    return {
        "head": draw(st.binary(min_size=8, max_size=8).filter(lambda b: 0 < sum(b) < 8 * 255)),
        "boot": draw(u32),
        "firmware": draw(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=24)),
        "mounting": draw(st.integers(0, 1)),
        "minor": draw(u8),
        "rate_dhz": rate,
        "streaming": draw(st.booleans()),
        "channels": [lh.entry(c, draw(st.integers(0, rate)), *draw(ends)) for c in channels],
        "more": draw(more),
        "more_per_channel": draw(more),
    }


Wire = tuple[list[bytes], list[Any]]
"""Bodies, and what the host is to make of them."""


def samples(draw: st.DrawFn, mark: int, declared: set[int]) -> Wire:
    bodies = []
    expected: list[Any] = []
    for _ in range(draw(st.integers(1, 5))):
        seq, t_us, bits = draw(u16), draw(u32), draw(flags)
        codes = [*draw(four), *draw(four)]
        status = mark | bits
        bodies.append(lh.sample(0, status, seq, t_us, codes[:4]))
        if any(channel > 3 for channel in declared):
            bodies.append(lh.sample(1, status, seq, t_us, codes[4:]))
        seen = [NO_VALUE if c is None or n not in declared else c for n, c in enumerate(codes)]
        expected.append((seq, t_us, bits, seen))
    if draw(st.booleans()):
        bodies = [lh.batch(bodies)]
    elif extra := draw(more):
        bodies = [body + extra for body in bodies]
    return bodies, expected


def report(draw: st.DrawFn, mark: int, number: int) -> Wire:
    status = mark | draw(flags)
    kind = draw(st.sampled_from([Status, Event, ClockPong, Ack, Refusal]))
    extra = draw(more)
    if kind is Status:
        health: dict[str, Any] = {
            "t_us": draw(u32),
            "battery_percent": draw(st.none() | st.integers(0, 100)),
            "temperature_cdegc": draw(st.none() | st.integers(-27315, 32767)),
            "sensor_errors": draw(u16),
            "samples_dropped": draw(u16),
            "frames_rejected": draw(u16),
        }
        return [lh.status(status, more=extra, **health)], [Status(status=status, **health)]
    if kind is Event:
        seq, t_us = draw(u16), draw(u32)
        body = lh.event(status, seq, t_us, number, more=extra)
        return [body, body], [Event(status, seq, t_us, 1, number)]
    if kind is ClockPong:
        times = draw(u16), draw(u32), draw(u32)
        return [lh.pong(status, *times, more=extra)], [ClockPong(status, *times)]
    command_id, op, value = draw(u16), draw(u8), draw(u16)
    if kind is Ack:
        return [lh.ack(status, command_id, op, value, extra)], [Ack(status, command_id, op, value)]
    reason = draw(u8)
    body = lh.refusal(status, command_id, op, reason, value, extra)
    return [body], [Refusal(status, command_id, op, reason, value)]


@st.composite
def sessions(draw: st.DrawFn) -> tuple[dict[str, Any], list[bytes], list[Any]]:
    hello = draw(hellos())
    declared = {entry[0] for entry in hello["channels"]}
    mark = lh.status_byte(hello["boot"])
    bodies: list[bytes] = []
    expected: list[Any] = []
    for number in range(draw(st.integers(0, 6))):
        as_samples = draw(st.booleans())
        wire = samples(draw, mark, declared) if as_samples else report(draw, mark, number)
        bodies += wire[0]
        expected += wire[1]
    return hello, bodies, expected


def cut(draw: st.DrawFn, data: bytes) -> list[bytes]:
    places = sorted(draw(st.lists(st.integers(0, len(data)), max_size=6)))
    return [data[a:b] for a, b in zip([0, *places], [*places, len(data)], strict=True)]


def flat(received: list[Any]) -> list[Any]:
    """Runs as their samples, everything else as it is."""
    out: list[Any] = []
    for one in received:
        if isinstance(one, RawRun):
            rows = zip(one.seq, one.t_us, one.status, one.codes.T.tolist(), strict=True)
            out += [(int(seq), int(t), int(status), codes) for seq, t, status, codes in rows]
        else:
            out.append(one)
    return out


def check_hello(hello: Hello, sent: dict[str, Any]) -> None:
    assert hello.supported
    assert hello.head == sent["head"].hex()
    for name in ("boot", "firmware", "mounting", "minor", "rate_dhz", "streaming"):
        assert getattr(hello, name) == sent[name], name
    seen = [(c.code, c.kind, c.unit, c.exponent, c.rate_dhz, c.low, c.high) for c in hello.channels]
    assert seen == sent["channels"]
    assert all(c.channel is not None for c in hello.channels)


@unhurried
@given(st.data(), sessions())
def test_a_host_reads_what_the_head_wrote(
    data: st.DataObject, session: tuple[dict[str, Any], list[bytes], list[Any]]
) -> None:
    sent, bodies, expected = session
    stream = b"".join([link.DELIMITER, *(link.frame(body) for body in [lh.hello(**sent), *bodies])])
    counters = LinkCounters()
    decoder = Decoder(counters)
    received: list[Any] = []
    for part in data.draw(st.composite(cut)(stream)):
        received += decoder.feed(part, MonotonicNs(0))
    check_hello(received[0], sent)
    assert flat(received[1:]) == expected
    assert not counters.faults
    assert counters.orphans == 0
    assert counters.frames == 1 + len(bodies)


@unhurried
@given(sessions())
def test_a_host_reads_bare_bodies(session: tuple[dict[str, Any], list[bytes], list[Any]]) -> None:
    sent, bodies, expected = session
    counters = LinkCounters()
    decoder = Decoder(counters, LinkForm.BODIES)
    received = [
        one for body in [lh.hello(**sent), *bodies] for one in decoder.feed(body, MonotonicNs(0))
    ]
    check_hello(received[0], sent)
    assert flat(received[1:]) == expected
    assert not counters.faults


to_head = st.lists(st.builds(ClockPing, u16) | st.builds(Command, u8, u16, u16), max_size=8)


def meaning(message: ClockPing | Command) -> tuple[Any, ...]:
    if isinstance(message, ClockPing):
        return ("ping", message.ping_id)
    return ("command", message.op, message.command_id, message.value)


@unhurried
@given(st.data(), to_head)
def test_the_head_reads_what_a_host_wrote(
    data: st.DataObject, messages: list[ClockPing | Command]
) -> None:
    stream = b"noise" + b"".join(outgoing(message, LinkForm.STREAM) for message in messages)
    receiver = link.Receiver()
    seen = [m for part in data.draw(st.composite(cut)(stream)) for m in receiver.feed(part)]
    assert seen == [meaning(message) for message in messages]
    assert receiver.rejected == 0
    for message in messages:
        assert receiver.body(outgoing(message, LinkForm.BODIES)) == meaning(message)


pieces = st.lists(
    st.binary(max_size=12)
    | st.binary(max_size=12).map(lambda b: link.frame(b"\xb3" + b))
    | st.sampled_from([b"\x00", b"\xff" + b"\x01" * 254 + b"\x01\x00", b"\x07" * 519, b"\x02"])
    | st.integers(505, 512).map(lambda n: link.frame(b"\xb4" + b"\x09" * (n - 1)))
)


@unhurried
@given(st.data(), pieces)
def test_both_find_the_same_faults_in_noise(data: st.DataObject, stream: list[bytes]) -> None:
    counters = LinkCounters()
    deframer = Deframer(counters)
    receiver = link.Receiver()
    bodies: list[bytes] = []
    seen = []
    for part in data.draw(st.composite(cut)(b"".join(stream) + b"\x00")):
        bodies += deframer.feed(part)
        seen += receiver.feed(part)
    other = link.Receiver()
    assert seen == [m for body in bodies if (m := other.body(body))]
    assert receiver.reasons == {**counters.faults, **other.reasons}


@unhurried
@given(st.binary(min_size=1, max_size=512) | st.integers(1, 512).map(lambda n: b"\x01" * n))
def test_frames_hold_what_was_put_in(body: bytes) -> None:
    assert Deframer(LinkCounters()).feed(link.frame(body)) == [body]


# --- the example -------------------------------------------------------------------------------


class Bench:
    """The example's head on a line without hardware, with the host at its other end."""

    def __init__(self) -> None:
        self.now_us = 0xFFFFFFFF - 300_000
        self.counters = LinkCounters()
        self.decoder = Decoder(self.counters)
        self.received: list[Any] = []
        self.room = 1 << 30
        self.lamp = False
        self.first = b""
        self.head = example.Head(
            self.write, self.tell, example.read_sensor, self.show, bytes(range(8)), 13
        )

    def tell(self) -> int:
        self.now_us = (self.now_us + 20) & 0xFFFFFFFF
        return self.now_us

    def show(self, on: bool) -> None:
        self.lamp = on

    def write(self, data: bytes) -> int:
        data = data[: self.room]
        self.first = self.first or data[:1]
        self.received += self.decoder.feed(data, MonotonicNs(0))
        return len(data)

    def run(self, seconds: float) -> list[Any]:
        self.received.clear()
        for _ in range(round(seconds * 1000)):
            self.now_us = (self.now_us + 1000) & 0xFFFFFFFF
            self.head.tick()
        return flat(self.received)

    def say(self, message: ClockPing | Command) -> list[Any]:
        self.received.clear()
        self.head.tick(outgoing(message, LinkForm.STREAM))
        return [one for one in self.received if not isinstance(one, RawRun)]


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.head.start()
    return bench


def test_the_example_starts_with_its_hello(bench: Bench) -> None:
    assert bench.first == b"\x00"
    assert [type(one) for one in bench.received] == [Hello, Status]
    assert bench.decoder.hello is not None
    assert bench.decoder.hello.head == "0001020304050607"


def test_the_example_streams_across_the_wrap_of_its_clock(bench: Bench) -> None:
    seen = [one for one in bench.run(20) if isinstance(one, tuple)]
    assert [seq for seq, _, _, _ in seen] == list(range(len(seen)))
    assert abs(len(seen) - 10 * 20) < 20
    gaps = [(b[1] - a[1]) & 0xFFFFFFFF for a, b in pairwise(seen)]
    assert min(gaps) > 95_000
    assert max(gaps) < 105_000
    assert not bench.counters.faults
    assert bench.counters.orphans == 0


def test_the_example_says_hello_and_status_often_enough(bench: Bench) -> None:
    seen = bench.run(40)
    assert sum(isinstance(one, Hello) for one in seen) >= 8
    assert sum(isinstance(one, Status) for one in seen) >= 4


def test_the_example_answers_a_ping(bench: Bench) -> None:
    (pong,) = bench.say(ClockPing(9))
    assert pong.ping_id == 9
    assert 0 < pong.sent_us - pong.received_us < 1000


@pytest.mark.parametrize("repeats", [1, 2])
def test_the_example_changes_its_rate(bench: Bench, repeats: int) -> None:
    for _ in range(repeats):
        hello, ack = bench.say(Command(2, 5, 500))
        assert hello.rate_dhz == 500
        assert ack == Ack(lh.status_byte(13), 5, 2, 500)
    assert abs(len([one for one in bench.run(2) if isinstance(one, tuple)]) - 100) < 10


@pytest.mark.parametrize(
    ("command", "reason", "value"),
    [
        (Command(2, 5, 9999), 2, 500),
        (Command(2, 5, 0), 2, 10),
        (Command(1, 5, 0), 2, 1),
        (Command(1, 5, 601), 2, 600),
        (Command(77, 5, 3), 1, 0),
    ],
)
def test_the_example_refuses(bench: Bench, command: Command, reason: int, value: int) -> None:
    (refusal,) = bench.say(command)
    assert refusal == Refusal(lh.status_byte(13), 5, command.op, reason, value)
    assert not bench.lamp


def test_the_example_stops_and_starts(bench: Bench) -> None:
    hello, ack = bench.say(Command(4, 7))
    assert (hello.streaming, ack) == (False, Ack(lh.status_byte(13), 7, 4, 0))
    assert not [one for one in bench.run(2) if isinstance(one, tuple)]
    assert bench.run(20)
    assert [type(one) for one in bench.say(Command(3, 7))] == [Hello, Ack]
    assert [one for one in bench.run(1) if isinstance(one, tuple)]


def test_the_example_shows_itself(bench: Bench) -> None:
    (ack,) = bench.say(Command(1, 5, 20))
    assert ack.value == 20
    bench.run(1.5)
    assert bench.lamp
    bench.run(1)
    assert not bench.lamp


def test_a_press_is_one_event_sent_twice(bench: Bench) -> None:
    frames = bench.counters.frames
    bench.head.streaming = False
    bench.received.clear()
    bench.head.press()
    bench.head.press()
    events = flat(bench.received) + bench.run(0.2)
    assert [type(one) for one in events] == [Event]
    assert events[0].seq == 65535
    assert bench.counters.frames == frames + 2
    bench.run(0.2)
    bench.received.clear()
    bench.head.press()
    assert bench.received[0].number == 1


def test_a_line_that_takes_half_a_frame_costs_only_that_sample(bench: Bench) -> None:
    before = bench.run(1)
    bench.room = 9
    bench.run(0.1)
    bench.room = 1 << 30
    seen = bench.run(9)
    came = [one[0] for one in before + seen if isinstance(one, tuple)]
    assert came[-1] - came[0] + 1 - len(came) == 1
    assert sum(bench.counters.faults.values()) == 1
    assert [one.samples_dropped for one in seen if isinstance(one, Status)] == [1]


def test_a_sensor_that_fails_is_counted(bench: Bench) -> None:
    def fail(t_us: int) -> None:
        raise OSError(5)

    bench.head.read_sensor = fail
    seen = bench.run(9)
    assert all(one[3] == [NO_VALUE] * 8 for one in seen if isinstance(one, tuple))
    assert next(one for one in seen if isinstance(one, Status)).sensor_errors > 70
