"""The simulated head's program, by the wire codec: what it says, when, and how it obeys."""

import numpy as np
import pytest

from ingest.core.blocks import NO_VALUE, RawRun
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.counters import LinkCounters
from ingest.core.frames import Side
from ingest.core.ids import MonotonicNs
from ingest.core.units import WIRE_RAD
from ingest.simulator.clamp import draw_clamping
from ingest.simulator.draws import draw_head
from ingest.simulator.faults import BOOT_TEXT, FaultInjector, FaultPlan
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.fleet import rigid_8x4
from ingest.simulator.head import Head
from ingest.simulator.quantise import codes_of
from ingest.simulator.rig import Rig
from ingest.simulator.streams import stream
from ingest.simulator.vehicle import WheelAt
from ingest.wire.codes import CommandOp, EventCode, Mounting, RefusalReason
from ingest.wire.commands import ClockPing, Command, set_rate
from ingest.wire.decoder import Decoder
from ingest.wire.framing import frame
from ingest.wire.hello import Hello
from ingest.wire.messages import encode
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status

TICK_S = 0.01


class Host:
    """The other end: decodes what a firmware says."""

    def __init__(self, firmware: Firmware) -> None:
        self.firmware = firmware
        self.counters = LinkCounters()
        self._decoder = Decoder(self.counters)
        self.said: list[object] = []

    def hear(self, data: bytes) -> None:
        self.said += self._decoder.feed(data, MonotonicNs(0))

    def run(self, start_s: float, end_s: float) -> None:
        for tick in range(round(start_s / TICK_S) + 1, round(end_s / TICK_S) + 1):
            self.hear(self.firmware.run(tick * TICK_S))

    def send(self, message: Command | ClockPing, now_s: float) -> None:
        self.hear(self.firmware.receive(frame(encode(message)), now_s))

    def all_of(self, kind: type) -> list:
        return [item for item in self.said if isinstance(item, kind)]

    def column(self, name: str) -> np.ndarray:
        return np.concatenate([getattr(run, name) for run in self.all_of(RawRun)])


def simulated(
    seed: int = 3,
    *,
    plan: FaultPlan | None = None,
    clockwork: Clockwork | None = None,
    rate_hz: float = 100.0,
    fixed: bool = False,
) -> tuple[Host, Rig, Head]:
    head, partner = draw_head(seed, "a", fixed=fixed), draw_head(seed, "b")
    rig = Rig(rigid_8x4(seed), (head, partner))
    for mine, side in ((head, Side.LEFT), (partner, Side.RIGHT)):
        rig.mount(mine, WheelAt(1, side), draw_clamping(stream(seed, str(side))), -100.0)
    firmware = Firmware(
        rig,
        head,
        random=stream(seed, "firmware"),
        clockwork=Clockwork(30.0, 123_456) if clockwork is None else clockwork,
        faults=FaultInjector(FaultPlan() if plan is None else plan, stream(seed, "faults")),
        rate_hz=rate_hz,
    )
    return Host(firmware), rig, head


def started(**options: object) -> tuple[Host, Rig, Head]:
    host, rig, head = simulated(**options)  # type: ignore[arg-type]
    host.hear(host.firmware.boot(0.0))
    return host, rig, head


def test_says_hello_first_with_all_its_channels_and_their_ranges() -> None:
    host, _, head = started()
    (hello,) = host.all_of(Hello)
    assert hello.head == head.design.head
    assert hello.mounting is Mounting.HANGING
    assert hello.rate_dhz == 1000
    assert [info.channel for info in hello.channels] == [c for c in CHANNELS if c != "incl_z"]
    ranges = {info.channel: (info.low, info.high) for info in hello.channels}
    assert ranges[Channel.INCL_Y] == (-900_000, 900_000)
    assert ranges[Channel.ROTATION] == (-1_800_000, 1_799_999)


def test_a_fixed_head_says_that_it_is_and_has_no_encoder() -> None:
    host, _, _ = started(fixed=True)
    (hello,) = host.all_of(Hello)
    assert hello.mounting is Mounting.FIXED
    declared = {info.channel for info in hello.channels}
    assert Channel.INCL_Z in declared
    assert Channel.ROTATION not in declared


def test_streams_at_its_rate_with_no_gap_and_one_status_a_second() -> None:
    host, _, _ = started(rate_hz=200.0)
    host.run(0.0, 5.0)
    seq, t_us = host.column("seq"), host.column("t_us")
    assert seq.size == pytest.approx(1000, abs=1)
    assert np.all(np.diff(seq) % 65536 == 1)
    assert np.all(np.diff(t_us) == 5000)
    assert len(host.all_of(Status)) == 5
    assert len(host.all_of(Hello)) == 2, "said again within 5 s"
    assert host.counters.faults.total() == 0


def test_its_clock_runs_fast_by_its_drift() -> None:
    host, _, _ = started(clockwork=Clockwork(50.0, 0))
    host.send(ClockPing(1), 0.0)
    host.send(ClockPing(2), 100.0)
    first, second = host.all_of(ClockPong)
    assert (first.ping_id, second.ping_id) == (1, 2)
    assert second.received_us - first.received_us == 100_005_000


def test_its_counters_wrap_on_the_wire() -> None:
    host, _, _ = started(clockwork=Clockwork(0.0, (1 << 32) - 500_000))
    host.run(0.0, 1.0)
    t_us = host.column("t_us")
    assert t_us.min() < 1_000_000 < t_us.max()
    assert np.all(np.diff(t_us) % (1 << 32) == 10_000)


def test_the_codes_are_the_exact_readings_with_the_heads_own_errors_and_noise() -> None:
    clockwork = Clockwork(-20.0, 777)
    host, rig, head = started(clockwork=clockwork)
    host.run(0.0, 2.0)
    t_s = clockwork.when_s(host.column("t_us").astype(float))
    true = rig.true_channels(head, t_s)
    codes = np.concatenate([run.codes for run in host.all_of(RawRun)], axis=1)
    missing = np.isnan(true)
    assert np.array_equal(codes == NO_VALUE, missing)
    for channel in (Channel.ROTATION, Channel.AZIMUTH_CROSS):
        errors = head.sensors.rotation if channel == "rotation" else head.sensors.azimuth_cross
        miss = codes[ROW[channel]] * WIRE_RAD - errors.raw(true[ROW[channel]])
        miss = (miss + np.pi) % (2 * np.pi) - np.pi
        assert np.abs(miss).max() < 6 * 0.01 * np.pi / 180
        assert miss.std() > 0.002 * np.pi / 180, "there is noise"


def test_codes_are_rounded_and_circular_ones_brought_within_half_a_turn() -> None:
    raw = np.full((len(CHANNELS), 3), np.nan)
    raw[ROW[Channel.ROTATION]] = np.radians([190.0, 179.99998, 359.9])
    raw[ROW[Channel.INCL_Y]] = np.radians([1.00004, -1.00006, 0.0])
    raw[ROW[Channel.TEMPERATURE]] = [21.5, -3.25, 0.0]
    codes = codes_of(raw)
    assert codes[ROW[Channel.ROTATION]].tolist() == [-1_700_000, -1_800_000, -1_000]
    assert codes[ROW[Channel.INCL_Y]].tolist() == [10_000, -10_001, 0]
    assert codes[ROW[Channel.TEMPERATURE]].tolist() == [215_000, -32_500, 0]
    assert (codes[ROW[Channel.STEER]] == NO_VALUE).all()


@pytest.mark.parametrize("at_s", [1.0, 1.01, 1.02, 1.03, 1.04])
def test_the_button_names_the_last_sample_sent_and_counts(at_s: float) -> None:
    host, _, _ = started()
    host.run(0.0, at_s)
    host.hear(host.firmware.press(at_s))
    host.hear(host.firmware.press(at_s))
    first, second = host.all_of(Event)
    assert first.code is EventCode.TAKE_STOP
    assert first.seq == host.column("seq")[-1]
    assert second.number == first.number + 1
    since_us = first.t_us - int(host.column("t_us")[-1])
    assert 0 <= since_us <= 10_000


@pytest.mark.parametrize("at_s", [0.5, 0.51, 0.52, 0.53, 0.54])
def test_a_new_rate_loses_no_number(at_s: float) -> None:
    host, _, _ = started()
    host.run(0.0, at_s)
    host.send(set_rate(1, rate_hz=50.0), at_s)
    host.run(at_s, at_s + 1.0)
    assert np.all(np.diff(host.column("seq")) % 65536 == 1)
    assert np.diff(host.column("t_us"))[-40:].tolist() == [20_000] * 40


def test_an_event_is_said_twice_and_unchanged() -> None:
    host, _, _ = started()
    host.run(0.0, 1.0)
    pressed = host.firmware.press(1.0)
    assert pressed not in b"".join(host.firmware.run(1.0 + 0.01 * n) for n in (1, 2))
    assert b"".join(host.firmware.run(1.0 + 0.01 * n) for n in range(3, 20)).count(pressed) == 1


def test_obeys_rate_stop_start_and_hello_and_refuses_the_rest() -> None:
    host, _, _ = started()
    host.run(0.0, 0.5)
    host.send(set_rate(1, rate_hz=50.0), 0.5)
    host.run(0.5, 1.5)
    assert host.all_of(Hello)[-1].rate_dhz == 500
    host.send(Command(CommandOp.STOP, 2), 1.5)
    count = host.column("seq").size
    host.run(1.5, 2.5)
    assert host.column("seq").size == count
    assert not host.firmware.hello().streaming
    host.send(Command(CommandOp.START, 3), 2.5)
    host.send(Command(CommandOp.HELLO, 4), 2.5)
    host.send(Command(CommandOp.IDENTIFY, 5, 20), 2.5)
    host.run(2.5, 3.0)
    assert host.column("seq").size == pytest.approx(count + 25, abs=1)
    assert host.firmware.identified == 1
    assert [ack.command_id for ack in host.all_of(Ack)] == [1, 2, 3, 4, 5]
    host.send(set_rate(6, rate_hz=0.0), 3.0)
    host.send(set_rate(7, rate_hz=2000.0), 3.0)
    host.send(Command(99, 8), 3.0)
    answers = [(r.command_id, r.reason, r.value) for r in host.all_of(Refusal)]
    bad, unknown = RefusalReason.BAD_VALUE, RefusalReason.UNKNOWN_COMMAND
    assert answers == [(6, bad, 1), (7, bad, 10_000), (8, unknown, 0)]


def test_a_hello_that_a_command_brings_about_goes_before_the_answer() -> None:
    host, _, _ = started()
    host.said.clear()
    host.send(Command(CommandOp.HELLO, 1), 0.1)
    host.send(set_rate(2, rate_hz=20.0), 0.2)
    host.send(set_rate(3, rate_hz=20.0), 0.3)
    assert [type(item) for item in host.said] == [Hello, Ack, Hello, Ack, Ack]


def test_damaged_commands_are_not_obeyed() -> None:
    host, _, _ = started()
    request = bytearray(frame(encode(Command(CommandOp.STOP, 2))))
    request[3] ^= 4
    host.hear(host.firmware.receive(b"\0" + bytes(request), 0.5))
    host.run(0.5, 1.6)
    assert host.all_of(Ack) == []
    assert host.all_of(Status)[-1].frames_rejected == 1
    assert host.firmware.hello().streaming


def test_a_restart_draws_a_new_boot_id_and_starts_the_clock_at_zero() -> None:
    host, _, _ = started(plan=FaultPlan(boot_text=True))
    host.run(0.0, 1.0)
    told = host.firmware.restart(1.0)
    assert told.startswith(BOOT_TEXT)
    host.hear(told)
    host.run(1.0, 2.0)
    marks = {hello.boot & 7 for hello in host.all_of(Hello)}
    assert len(marks) == 2, "neighbouring starts differ in what every message bears"
    assert host.all_of(RawRun)[-1].boot == host.all_of(Hello)[-1].boot
    assert host.all_of(RawRun)[-1].t_us[-1] == pytest.approx(1_000_000, abs=20_000)
    assert host.firmware.faults.counts.resets == 1


def test_the_swivel_lock_shows_in_every_sample_and_status() -> None:
    host, rig, head = started()
    host.run(0.0, 1.0)
    assert not host.column("status").any()
    rig.lock(head, 1.0)
    host.run(1.0, 2.2)
    assert set(host.column("status")[-100:]) == {1}
    assert host.all_of(Status)[-1].status & 31 == 1


def test_what_was_lost_or_damaged_on_the_way_is_what_the_receiver_misses() -> None:
    host, _, _ = started(plan=FaultPlan(lost=0.02, damaged=0.02, duplicated=0.02))
    host.run(0.0, 20.0)
    done = host.firmware.faults.counts
    assert min(done.lost, done.damaged, done.duplicated) > 20
    arrived = host.counters.frames
    sent = round(20.0 * 200) + 20 + 5  # two sets of each sample, statuses, hellos
    # A bit flipped in a delimiter, or into one, costs a neighbour or tears the frame in two.
    assert arrived == pytest.approx(sent + done.duplicated - done.lost - done.damaged, abs=25)
    assert arrived < sent + done.duplicated
    faults = host.counters.faults.total()
    assert faults == pytest.approx(done.damaged, abs=25)


def test_a_seed_gives_the_same_bytes_again_and_another_gives_others() -> None:
    def bytes_of(seed: int) -> bytes:
        host, _, _ = simulated(seed, plan=FaultPlan(lost=0.01, damaged=0.01, spikes=0.01))
        start = host.firmware.boot(0.0)
        return start + b"".join(host.firmware.run(0.01 * n) for n in range(1, 200))

    assert bytes_of(3) == bytes_of(3)
    assert bytes_of(3) != bytes_of(4)
