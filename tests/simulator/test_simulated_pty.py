"""Simulated heads on real ptys, read as any program reads a tty."""

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
import tty
from collections.abc import Awaitable, Callable
from pathlib import Path

import numpy as np
import serial

from ingest.core.blocks import RawRun
from ingest.core.counters import LinkCounters
from ingest.core.frames import Side
from ingest.core.ids import MonotonicNs
from ingest.simulator.clamp import Clamping
from ingest.simulator.draws import draw_head
from ingest.simulator.faults import FaultInjector, FaultPlan
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.fleet import rigid_8x4
from ingest.simulator.ptyhead import PtyHead
from ingest.simulator.rig import Rig
from ingest.simulator.streams import stream
from ingest.simulator.vehicle import WheelAt
from ingest.wire.codes import CommandOp
from ingest.wire.commands import ClockPing, Command
from ingest.wire.decoder import Decoder
from ingest.wire.framing import DELIMITER, frame
from ingest.wire.hello import Hello
from ingest.wire.messages import encode
from ingest.wire.reports import Ack, ClockPong, Event


class Reader:
    """A host that opens a path, reads what comes, and decodes it."""

    def __init__(self, path: str) -> None:
        self._fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self.counters = LinkCounters()
        self._decoder = Decoder(self.counters)
        self.said: list[object] = []

    def send(self, message: Command | ClockPing) -> None:
        os.write(self._fd, DELIMITER + frame(encode(message)))

    def read(self) -> None:
        try:
            data = os.read(self._fd, 65536)
        except BlockingIOError:
            return
        self.said += self._decoder.feed(data, MonotonicNs(time.monotonic_ns()))

    async def until(self, holds: Callable[[], bool]) -> None:
        """Read until something holds; the test's own time limit ends a wait in vain."""
        while not holds():
            self.read()
            await asyncio.sleep(0.005)

    async def listen(self, for_s: float) -> None:
        end_s = time.monotonic() + for_s
        await self.until(lambda: time.monotonic() > end_s)

    def ended(self) -> bool:
        """Read what was under way; say whether the line is then hung up."""
        for _ in range(100):
            try:
                if not os.read(self._fd, 65536):
                    return True
            except BlockingIOError:
                return False
            except OSError:
                return True
        return False

    def all_of(self, kind: type) -> list:
        return [item for item in self.said if isinstance(item, kind)]

    def seq(self) -> np.ndarray:
        return np.concatenate([run.seq for run in self.all_of(RawRun)])

    def close(self) -> None:
        os.close(self._fd)


def pty_head(plan: FaultPlan | None = None, link: Path | None = None) -> PtyHead:
    head = draw_head(3, "a")
    rig = Rig(rigid_8x4(3), (head,))
    rig.mount(head, WheelAt(1, Side.LEFT), Clamping(), -60.0)
    started_s = time.monotonic()
    firmware = Firmware(
        rig,
        head,
        random=stream(3, "firmware"),
        clockwork=Clockwork(25.0, 1000),
        faults=FaultInjector(FaultPlan() if plan is None else plan, stream(3, "faults")),
    )
    return PtyHead(firmware, lambda: time.monotonic() - started_s, link)


def play(head: PtyHead, story: Callable[[PtyHead], Awaitable[None]]) -> None:
    async def run() -> None:
        head.plug()
        running = asyncio.create_task(head.run())
        try:
            await story(head)
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)
            head.unplug()

    asyncio.run(run())


def test_streams_to_whoever_opens_the_port_and_answers_a_request_for_a_hello() -> None:
    async def story(head: PtyHead) -> None:
        host = Reader(head.path)
        host.send(Command(CommandOp.HELLO, 1))
        await host.until(lambda: bool(host.all_of(Ack)))
        await host.listen(1.0)
        host.close()
        assert host.all_of(Hello)[0].boot == head.firmware.hello().boot
        assert np.all(np.diff(host.seq()) % 65536 == 1)
        t_us = np.concatenate([run.t_us for run in host.all_of(RawRun)])
        assert np.all(np.diff(t_us) == 10_000)
        assert host.counters.faults.total() == 0

    play(pty_head(), story)


def test_no_sample_leaves_before_its_time() -> None:
    # A pong tells the head's clock; whatever came before it must lie before that time.
    async def story(head: PtyHead) -> None:
        host = Reader(head.path)
        host.send(Command(CommandOp.HELLO, 1))
        for number in range(1, 15):
            host.send(ClockPing(number))
            await host.until(lambda number=number: len(host.all_of(ClockPong)) == number)
            await host.listen(0.02)
        host.close()
        newest_us = 0
        for item in host.said:
            if isinstance(item, RawRun):
                newest_us = int(item.t_us[-1])
            elif isinstance(item, ClockPong):
                assert newest_us <= item.sent_us
        assert newest_us > 200_000

    play(pty_head(), story)


def test_pyserial_reads_it_as_it_reads_hardware() -> None:
    async def story(head: PtyHead) -> None:
        with serial.Serial(head.path, 921600, timeout=0.0, exclusive=True) as port:
            port.write(DELIMITER + frame(encode(Command(CommandOp.HELLO, 9))))
            decoder, said = Decoder(LinkCounters()), []
            while not any(isinstance(item, RawRun) for item in said):
                await asyncio.sleep(0.02)
                said += decoder.feed(port.read(port.in_waiting), MonotonicNs(0))
        assert any(isinstance(item, Hello) for item in said)

    play(pty_head(), story)


def test_the_button_and_the_clock_are_answered_over_the_line() -> None:
    async def story(head: PtyHead) -> None:
        host = Reader(head.path)
        host.send(Command(CommandOp.HELLO, 1))
        await host.until(lambda: bool(host.all_of(RawRun)))
        head.press()
        host.send(ClockPing(77))
        await host.until(lambda: bool(host.all_of(Event)) and bool(host.all_of(ClockPong)))
        assert host.all_of(ClockPong)[0].ping_id == 77
        await host.listen(0.1)
        assert len(host.all_of(Event)) == 1, "said twice, delivered once"
        host.close()

    play(pty_head(), story)


def test_never_blocks_when_nobody_reads_and_loses_nothing_unseen() -> None:
    async def story(head: PtyHead) -> None:
        host = Reader(head.path)
        host.send(Command(CommandOp.RATE, 1, 10_000))
        before = head.dropped_bytes
        for _ in range(1000):  # open, and never read: the pty fills up
            if head.dropped_bytes > before:
                break
            await asyncio.sleep(0.02)
        assert head.dropped_bytes > before
        await host.listen(0.3)
        assert host.all_of(RawRun), "goes on when it is read again"
        host.close()

    play(pty_head(), story)


def test_a_port_that_nobody_has_open_keeps_nothing_for_the_next() -> None:
    async def story(head: PtyHead) -> None:
        await asyncio.sleep(0.5)
        first = Reader(head.path)
        first.send(Command(CommandOp.HELLO, 1))
        await first.until(lambda: bool(first.all_of(RawRun)))
        first.close()
        await asyncio.sleep(0.3)
        before = head.firmware.hello().boot
        second = Reader(head.path)
        second.send(Command(CommandOp.HELLO, 2))
        await second.until(lambda: bool(second.all_of(RawRun)))
        second.close()
        gap = int(second.seq()[0] - first.seq()[-1]) % 65536
        assert gap > 20, "what was due while the port was closed is gone"
        assert head.dropped_bytes > 1000
        assert second.all_of(Hello)[0].boot == before

    play(pty_head(), story)


def test_opening_the_port_resets_a_board_that_is_made_so() -> None:
    async def story(head: PtyHead) -> None:
        before = head.firmware.hello().boot
        host = Reader(head.path)
        await host.until(lambda: bool(host.all_of(Hello)))
        host.close()
        assert host.all_of(Hello)[0].boot == before + 1
        assert head.firmware.faults.counts.resets == 1

    play(pty_head(FaultPlan(boot_text=True, reset_on_open=True)), story)


def test_unplugging_ends_the_link_and_replugging_brings_the_head_back(tmp_path: Path) -> None:
    link = tmp_path / "head-a"

    async def story(head: PtyHead) -> None:
        assert head.path == str(link)
        host = Reader(head.path)
        host.send(Command(CommandOp.HELLO, 1))
        await host.until(lambda: bool(host.all_of(RawRun)))
        head.unplug()
        head.unplug()
        assert not link.exists()
        assert host.ended()
        host.close()
        await asyncio.sleep(0.05)
        head.plug()
        again = Reader(head.path)
        again.send(Command(CommandOp.HELLO, 2))
        await again.until(lambda: bool(again.all_of(RawRun)))
        assert again.all_of(Hello)[0].boot != host.all_of(Hello)[0].boot
        again.close()

    play(pty_head(link=link), story)


def test_a_stalled_head_says_nothing_and_goes_on_with_a_gap() -> None:
    async def story(head: PtyHead) -> None:
        host = Reader(head.path)
        host.send(Command(CommandOp.HELLO, 1))
        await host.until(lambda: bool(host.all_of(RawRun)))
        head.stall(True)
        await host.listen(0.1)
        count = host.seq().size
        await host.listen(0.3)
        assert host.seq().size == count
        head.stall(False)
        await host.until(lambda: host.seq().size > count)
        host.close()
        assert int(np.diff(host.seq()).max()) > 20
        assert head.firmware.faults.counts.stalls == 1

    play(pty_head(), story)


def test_a_process_of_its_own_prints_its_paths_and_ends_when_told() -> None:
    command = [sys.executable, "-m", "ingest.simulator", "--heads", "2", "--rate", "50"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        paths = json.loads(process.stdout.readline())["ptys"]
        hosts = [Reader(path) for path in paths]
        for host in hosts:
            host.send(Command(CommandOp.HELLO, 1))
            asyncio.run(host.until(lambda host=host: bool(host.all_of(RawRun))))
            host.close()
        heads = {host.all_of(Hello)[0].head for host in hosts}
        assert len(heads) == 2
        assert all(host.all_of(Hello)[0].rate_dhz == 500 for host in hosts)
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 0
        process.stdout.close()


def test_a_process_with_no_head_is_refused_in_one_line() -> None:
    command = [sys.executable, "-m", "ingest.simulator", "--heads", "0"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].endswith(
        "at least one head, and 0.1 to 1000 samples a second"
    )


def test_the_far_end_is_raw_from_the_start() -> None:
    async def story(head: PtyHead) -> None:
        fd = os.open(head.path, os.O_RDWR | os.O_NOCTTY)
        found = tty.tcgetattr(fd)
        os.close(fd)
        assert not found[tty.LFLAG] & (tty.ICANON | tty.ECHO | tty.ISIG)
        assert not found[tty.OFLAG] & tty.OPOST

    play(pty_head(), story)
