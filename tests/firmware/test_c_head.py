"""What the C reference does beside layouts: commands, numbers, the clock, angles."""

import ctypes as ct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.blocks import NO_VALUE
from ingest.wire.codes import CommandOp, RefusalReason, boot_mark, status_byte
from ingest.wire.messages import decode
from ingest.wire.reports import Ack, Event, Refusal

U16 = st.integers(0, 0xFFFF)
U32 = st.integers(0, 0xFFFFFFFF)
STATUS = 160
RATES_DHZ = [100, 500, 1000, 2000]
quickly = settings(derandomize=True, deadline=None, max_examples=200)


def control_of(head, rates=RATES_DHZ):
    table = (head.U16 * len(rates))(*rates)
    return head.Control(table, len(rates), rate_dhz=1000, streaming=True)


def state_of(control):
    names = ("rate_dhz", "streaming", "hello_due", "identify_ds")
    return {name: getattr(control, name) for name in names}


IDLE = {"rate_dhz": 1000, "streaming": True, "hello_due": False, "identify_ds": 0}
DONE = {
    (CommandOp.IDENTIFY, 1): ({"identify_ds": 1}, 1),
    (CommandOp.IDENTIFY, 600): ({"identify_ds": 600}, 600),
    (CommandOp.RATE, 100): ({"rate_dhz": 100, "hello_due": True}, 100),
    (CommandOp.RATE, 2000): ({"rate_dhz": 2000, "hello_due": True}, 2000),
    (CommandOp.START, 0): ({"hello_due": True}, 0),
    (CommandOp.STOP, 0): ({"streaming": False, "hello_due": True}, 0),
    (CommandOp.HELLO, 9): ({"hello_due": True}, 0),
}


@pytest.mark.parametrize("asked", DONE)
def test_does_what_a_command_says_and_acknowledges_what_is_in_force(head_in_c, asked):
    (op, value), (changed, in_force) = asked, DONE[asked]
    control, command = control_of(head_in_c), head_in_c.Request(0xB4, op, 258, value)
    for _ in range(2):  # the second time answers again, and changes nothing
        answer = decode(head_in_c.obey(control, command))
        assert answer == Ack(STATUS, 258, op, in_force)
        assert state_of(control) == IDLE | changed


def test_starts_again_after_a_stop(head_in_c):
    control = control_of(head_in_c)
    for op, streaming in ((CommandOp.STOP, False), (CommandOp.START, True)):
        head_in_c.obey(control, head_in_c.Request(0xB4, op, 1, 0))
        assert control.streaming is streaming


REFUSED = {
    (CommandOp.IDENTIFY, 0): (RefusalReason.BAD_VALUE, 1),
    (CommandOp.IDENTIFY, 601): (RefusalReason.BAD_VALUE, 600),
    (CommandOp.RATE, 0): (RefusalReason.BAD_VALUE, 100),
    (CommandOp.RATE, 299): (RefusalReason.BAD_VALUE, 100),
    (CommandOp.RATE, 301): (RefusalReason.BAD_VALUE, 500),
    (CommandOp.RATE, 999): (RefusalReason.BAD_VALUE, 1000),
    (CommandOp.RATE, 65535): (RefusalReason.BAD_VALUE, 2000),
    (0, 5): (RefusalReason.UNKNOWN_COMMAND, 0),
    (6, 0): (RefusalReason.UNKNOWN_COMMAND, 0),
    (77, 1): (RefusalReason.UNKNOWN_COMMAND, 0),
    (255, 1): (RefusalReason.UNKNOWN_COMMAND, 0),
}


@pytest.mark.parametrize("asked", REFUSED)
def test_refuses_what_it_cannot_and_goes_on_unchanged(head_in_c, asked):
    (op, value), (reason, nearest) = asked, REFUSED[asked]
    control = control_of(head_in_c)
    answer = decode(head_in_c.obey(control, head_in_c.Request(0xB4, op, 65535, value)))
    assert answer == Refusal(STATUS, 65535, op, reason, nearest)
    assert state_of(control) == IDLE


@pytest.mark.parametrize("rates", [[], [0], [10_001]])
@pytest.mark.parametrize("value", [0, 1000, 10_001])
def test_takes_no_rate_that_no_head_may_have(head_in_c, rates, value):
    control = control_of(head_in_c, rates)
    command = head_in_c.Request(0xB4, CommandOp.RATE, 1, value)
    refused = Refusal(STATUS, 1, CommandOp.RATE, RefusalReason.BAD_VALUE, 0)
    assert decode(head_in_c.obey(control, command)) == refused
    assert state_of(control) == IDLE


@pytest.mark.parametrize(("kind", "room"), [(0xB4, 7), (0xB4, 0), (0xB3, 8)])
def test_does_nothing_without_room_or_without_a_command(head_in_c, kind, room):
    control = control_of(head_in_c)
    command = head_in_c.Request(kind, CommandOp.STOP, 1, 0)
    assert head_in_c.obey(control, command, room=room) == b""
    assert state_of(control) == IDLE


@given(U32, st.integers(0, 255))
@quickly
def test_marks_each_message_with_its_boot(head_in_c, boot, flags):
    assert head_in_c.c.lh_status(boot, flags) == status_byte(boot, flags & 3)


@given(U32, st.lists(U32, max_size=5))
@quickly
def test_numbers_all_samples_of_a_boot_from_zero(head_in_c, boot, times):
    state, sample = head_in_c.Boot(), head_in_c.Sample()
    head_in_c.c.lh_boot_begin(ct.byref(state), boot)
    for seq, t_us in enumerate(times):
        head_in_c.c.lh_boot_sample(ct.byref(state), 1, t_us, ct.byref(sample))
        assert (sample.seq, sample.t_us) == (seq, t_us)
        assert sample.status == boot_mark(boot) << 5 | 1
        assert list(sample.codes) == [NO_VALUE] * 8


def test_numbers_wrap(head_in_c):
    state = head_in_c.Boot(1, 65_534, 255)
    sample, event = head_in_c.Sample(), head_in_c.Event()
    seen = []
    for _ in range(3):
        head_in_c.c.lh_boot_sample(ct.byref(state), 0, 0, ct.byref(sample))
        head_in_c.c.lh_boot_event(ct.byref(state), 0, 0, 1, ct.byref(event))
        seen.append((sample.seq, event.seq, event.number))
    assert seen == [(65_535, 65_535, 255), (0, 0, 0), (1, 1, 1)]


def test_an_event_names_the_newest_sample(head_in_c):
    state, event = head_in_c.Boot(5, 41, 3), head_in_c.Event()
    head_in_c.c.lh_boot_event(ct.byref(state), 2, 1_043_210, 1, ct.byref(event))
    fields = {name: getattr(event, name) for name, _ in event._fields_}
    body = head_in_c.body({"message": "event"} | fields)
    assert decode(body) == Event(5 << 5 | 2, 41, 1_043_210, 1, 3)


def test_counts_up_to_the_most_and_stops(head_in_c):
    counter = head_in_c.U16(65_533)
    seen = []
    for _ in range(4):
        head_in_c.c.lh_count(ct.byref(counter))
        seen.append(counter.value)
    assert seen == [65_534, 65_535, 65_535, 65_535]


@given(st.integers(-(1 << 31), (1 << 31) - 1))
@quickly
def test_wraps_any_angle_into_one_turn(head_in_c, code):
    assert head_in_c.c.lh_wrap(code) == (code + 1_800_000) % 3_600_000 - 1_800_000


@pytest.mark.parametrize("code", [-1_800_001, -1_800_000, 1_799_999, 1_800_000])
def test_wraps_at_the_ends_of_a_turn(head_in_c, code):
    assert head_in_c.c.lh_wrap(code) == (code + 1_800_000) % 3_600_000 - 1_800_000


@given(
    st.sampled_from([0xFFFF, 0xFFFFFF, 0xFFFFFFFF]),
    U32,
    st.tuples(st.integers(1, 0xFFFF), st.integers(1, 0xFFFF)),
    st.lists(st.integers(0, 400_000), max_size=12),
)
@quickly
def test_keeps_time_without_drift_while_its_counter_goes_round(
    head_in_c, mask, start, ratio, steps
):
    (us, ticks), total = ratio, 0
    clock = head_in_c.Clock()
    head_in_c.c.lh_clock_begin(ct.byref(clock), start, mask, us, ticks)
    for step in steps:
        total += step & mask
        now = (start + total) & 0xFFFFFFFF
        assert head_in_c.c.lh_clock_us(ct.byref(clock), now) == total * us // ticks % (1 << 32)


def test_keeps_time_at_32768_hz_for_a_day(head_in_c):
    clock = head_in_c.Clock()
    head_in_c.c.lh_clock_begin(ct.byref(clock), 0, 0xFFFF, 15625, 512)
    for second in range(1, 86_401):
        t_us = head_in_c.c.lh_clock_us(ct.byref(clock), second * 32_768)
        assert t_us == second * 1_000_000 % (1 << 32)


def test_carries_each_whole_microsecond_at_32768_hz(head_in_c):
    clock = head_in_c.Clock()
    head_in_c.c.lh_clock_begin(ct.byref(clock), 0, 0xFFFF, 15625, 512)
    times = [head_in_c.c.lh_clock_us(ct.byref(clock), tick) for tick in range(1, 2049)]
    assert times == [tick * 15625 // 512 for tick in range(1, 2049)]


@pytest.mark.parametrize(("us", "ticks"), [(0, 3), (3, 0), (0, 0)])
def test_a_clock_never_divides_by_zero(head_in_c, us, ticks):
    clock = head_in_c.Clock()
    head_in_c.c.lh_clock_begin(ct.byref(clock), 0, 0xFFFFFFFF, us, ticks)
    assert head_in_c.c.lh_clock_us(ct.byref(clock), 600) == 600 * (us or 1) // (ticks or 1)


@given(U32, st.integers(0, (1 << 31) - 1))
@quickly
def test_knows_what_is_due_over_the_wrap(head_in_c, now_us, ago_us):
    due_us = (now_us - ago_us) % (1 << 32)
    assert head_in_c.c.lh_due(now_us, due_us)
    assert not head_in_c.c.lh_due(due_us, (now_us + 1) % (1 << 32))
