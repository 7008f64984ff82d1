"""The firmware of a simulated head, without a port: bytes in, bytes out."""

from collections import deque
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ingest.core.blocks import F64
from ingest.core.channels import ROW
from ingest.core.counters import LinkCounters
from ingest.core.ids import BootId
from ingest.simulator.faults import BOOT_TEXT, FaultInjector
from ingest.simulator.head import Head
from ingest.simulator.quantise import RANGES, codes_of
from ingest.wire.codes import (
    CommandOp,
    EventCode,
    Mounting,
    RefusalReason,
    StatusBit,
    status_byte,
)
from ingest.wire.commands import ClockPing, Command
from ingest.wire.framing import DELIMITER, Deframer, frame
from ingest.wire.hello import MAX_RATE_DHZ, ChannelInfo, Hello
from ingest.wire.messages import Message, decode, encode
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status
from ingest.wire.sample import encode_sample

FIRMWARE = "simulated-head 1.0"
STATUS_S = 1.0
AHEAD_S = 0.120
"""So far ahead samples are worked out, unless told otherwise; less than the technician's lead."""
HELLO_S = 4.0
"""A hello is repeated so often; the protocol asks for one every 5 s at least."""

REPEAT_S = 0.025
"""An event is said again so much later, in case it was lost."""

IDENTIFY_MOST = 600


@dataclass(frozen=True, slots=True)
class Clockwork:
    """A head's own clock: it starts anywhere in its range and runs a little fast or slow."""

    drift_ppm: float = 0.0
    start_us: int = 0

    def tick_us(self, t_s: F64) -> F64:
        """Return the head's counter at rig times, unwrapped, microseconds."""
        ticks: F64 = self.start_us + t_s * (1e6 + self.drift_ppm)
        return ticks

    def when_s(self, tick_us: F64) -> F64:
        """Return the rig times at which the counter reads so."""
        times: F64 = (tick_us - self.start_us) / (1e6 + self.drift_ppm)
        return times


class World(Protocol):
    """What a head is in: it says what a perfect head would read."""

    def true_channels(self, head: Head, t_s: F64) -> F64:
        """Return true channels at increasing times, shape (8, n)."""


class Firmware:
    """One head's program. Pure: it is told the time, and returns bytes.

    ``random`` draws noise, boot ids and the first sequence number; the same stream gives the
    same bytes.
    """

    def __init__(
        self,
        rig: World,
        head: Head,
        *,
        random: np.random.Generator,
        clockwork: Clockwork,
        faults: FaultInjector,
        rate_hz: float = 100.0,
        ahead_s: float = AHEAD_S,
    ) -> None:
        self._rig = rig
        self._head = head
        self._random = random
        self._clockwork = clockwork
        self.faults = faults
        self._rate_dhz = round(rate_hz * 10)
        self._ahead_us = ahead_s * 1e6
        self._two_sets = any(ROW[channel] >= 4 for channel in head.design.channels)
        self._ready: deque[tuple[float, bytes]] = deque()
        self._repeats: deque[tuple[float, bytes]] = deque()
        self._boot = BootId(int(random.integers(1 << 32)))
        self.identified = 0
        """How often the head was asked to show itself."""
        self.boot(0.0)

    def boot(self, now_s: float) -> bytes:
        """Start anew; return what the head says first. The boot id counts up."""
        self._boot = BootId((self._boot + 1) % (1 << 32))
        self._from_host = LinkCounters()
        self._deframer = Deframer(self._from_host)
        self._ready.clear()
        self._repeats.clear()
        self._seq = int(self._random.integers(1 << 16))
        self._events = 0
        self._streaming = True
        self._catch_up(now_s)
        self._status_s = now_s
        self._told_flags = self._flags(now_s)
        text = BOOT_TEXT if self.faults.plan.boot_text else b""
        return text + DELIMITER + self._say_hello(now_s)

    def restart(self, now_s: float) -> bytes:
        """Start anew as after a reset: the head's clock begins at zero too."""
        drift_ppm = self._clockwork.drift_ppm
        self._clockwork = Clockwork(drift_ppm, -round(now_s * (1e6 + drift_ppm)))
        self.faults.counts.resets += 1
        return self.boot(now_s)

    def hello(self) -> Hello:
        """Return what the head says of itself."""
        design = self._head.design
        entries = (
            ChannelInfo.of(c, rate_dhz=self._rate_dhz, low=RANGES[c][0], high=RANGES[c][1])
            for c in design.channels
        )
        return Hello(
            head=design.head,
            boot=self._boot,
            firmware=FIRMWARE,
            mounting=Mounting.FIXED if design.fixed else Mounting.HANGING,
            rate_dhz=self._rate_dhz,
            streaming=self._streaming,
            channels=tuple(entries),
        )

    def run(self, now_s: float) -> bytes:
        """Return all that has become due: samples, status, hello, and events said again."""
        out = self._samples(now_s) if self._streaming else b""
        flags = self._flags(now_s)
        if now_s - self._status_s >= STATUS_S or flags != self._told_flags:
            self._status_s, self._told_flags = now_s, flags
            out += self._said(self._status(now_s))
        if now_s - self._hello_s >= HELLO_S:
            out += self._say_hello(now_s)
        while self._repeats and self._repeats[0][0] <= now_s:
            out += self.faults.passed(self._repeats.popleft()[1])
        return out

    def press(self, now_s: float) -> bytes:
        """Return what a press of the button sends at once; it is said again a little later."""
        sent = (self._seq - len(self._ready) - 1) % (1 << 16)
        event = Event(
            self._status_byte(now_s), sent, self._t_us(now_s), EventCode.TAKE_STOP, self._events
        )
        self._events = (self._events + 1) % 256
        self._repeats.append((now_s + REPEAT_S, frame(encode(event))))
        return self._said(event)

    def receive(self, data: bytes, now_s: float) -> bytes:
        """Take bytes from the host; return the answers."""
        bodies = self._deframer.feed(data)
        return b"".join(self._answer(decode(body), now_s) for body in bodies)

    def _answer(self, message: object, now_s: float) -> bytes:
        if isinstance(message, ClockPing):
            t_us = self._t_us(now_s)
            return self._said(ClockPong(self._status_byte(now_s), message.ping_id, t_us, t_us))
        if isinstance(message, Command):
            return self._obey(message, now_s)
        return b""

    def _obey(self, command: Command, now_s: float) -> bytes:
        """Do what a command asks; a hello that it brings about goes before the answer."""
        status, value, before = self._status_byte(now_s), command.value, b""
        match command.op:
            case CommandOp.IDENTIFY:
                if not 1 <= value <= IDENTIFY_MOST:
                    return self._refused(command, status, 1 if value < 1 else IDENTIFY_MOST)
                self.identified += 1
            case CommandOp.RATE:
                if not 1 <= value <= MAX_RATE_DHZ:
                    return self._refused(command, status, 1 if value < 1 else MAX_RATE_DHZ)
                before = self._set_rate(value, now_s)
            case CommandOp.START | CommandOp.STOP:
                before = self._start(command.op == CommandOp.START, now_s)
            case CommandOp.HELLO:
                before = self._say_hello(now_s)
            case _:
                answer = Refusal(
                    status, command.command_id, command.op, RefusalReason.UNKNOWN_COMMAND
                )
                return self._said(answer)
        in_force = value if command.op in (CommandOp.IDENTIFY, CommandOp.RATE) else 0
        return before + self._said(Ack(status, command.command_id, command.op, in_force))

    def _refused(self, command: Command, status: int, nearest: int) -> bytes:
        reason = RefusalReason.BAD_VALUE
        return self._said(Refusal(status, command.command_id, command.op, reason, nearest))

    def _set_rate(self, rate_dhz: int, now_s: float) -> bytes:
        if rate_dhz == self._rate_dhz:
            return b""
        self._rate_dhz = rate_dhz
        self._catch_up(now_s)
        return self._say_hello(now_s)

    def _start(self, streaming: bool, now_s: float) -> bytes:
        if streaming == self._streaming:
            return b""
        self._streaming = streaming
        self._catch_up(now_s)
        return self._say_hello(now_s)

    def _say_hello(self, now_s: float) -> bytes:
        self._hello_s = now_s
        return self._said(self.hello())

    def _catch_up(self, now_s: float) -> None:
        """Take the next sample at the next tick of the rate; none for the time before."""
        self._seq = (self._seq - len(self._ready)) % (1 << 16)
        self._ready.clear()
        period_us = 1e7 / self._rate_dhz
        now_us = float(self._clockwork.tick_us(np.array(now_s)))
        self._next_us = np.ceil(now_us / period_us) * period_us

    def _samples(self, now_s: float) -> bytes:
        """Return the samples that have become due.

        They are worked out a little ahead, many at a time, which is far cheaper; whoever
        moves something plans it later than that.
        """
        now_us = float(self._clockwork.tick_us(np.array(now_s)))
        out = []
        while True:
            while self._ready and self._ready[0][0] <= now_us:
                out.append(self._ready.popleft()[1])
            if self._ready or self._next_us > now_us:
                return b"".join(out)
            self._work_out(now_us + self._ahead_us, now_s)

    def _work_out(self, until_us: float, now_s: float) -> None:
        period_us = 1e7 / self._rate_dhz
        count = int((until_us - self._next_us) // period_us) + 1
        ticks = self._next_us + period_us * np.arange(count)
        self._next_us += period_us * count
        t_s = self._clockwork.when_s(ticks)
        raw = self._head.sensors.read(self._rig.true_channels(self._head, t_s), self._random)
        codes = codes_of(self.faults.spiked(raw))
        flags = self._flags(now_s)
        for row, tick in zip(codes.T.tolist(), ticks.tolist(), strict=True):
            t_us, seq = int(tick) % (1 << 32), self._seq
            self._seq = (seq + 1) % (1 << 16)
            frames = b""
            for index in range(2 if self._two_sets else 1):
                four = row[4 * index : 4 * index + 4]
                body = encode_sample(index, status_byte(self._boot, flags), seq, t_us, four)
                frames += self.faults.passed(frame(body))
            self._ready.append((tick, frames))

    def _status(self, now_s: float) -> Status:
        degc = float(self._head.warming.at(np.array([now_s]))[0])
        return Status(
            status=self._status_byte(now_s),
            t_us=self._t_us(now_s),
            battery_percent=self._head.battery.percent(now_s),
            temperature_cdegc=round(degc * 100),
            sensor_errors=0,
            samples_dropped=0,
            frames_rejected=min(self._from_host.faults.total(), 65535),
        )

    def _status_byte(self, now_s: float) -> int:
        return status_byte(self._boot, self._flags(now_s))

    def _flags(self, now_s: float) -> int:
        locked = not self._head.design.fixed and self._head.lock_at(now_s) is not None
        return StatusBit.SWIVEL_LOCKED if locked else 0

    def _t_us(self, now_s: float) -> int:
        return int(self._clockwork.tick_us(np.array(now_s))) % (1 << 32)

    def _said(self, message: Message) -> bytes:
        return self.faults.passed(frame(encode(message)))
