"""Bodies to messages and runs of samples, under the hello in force."""

from collections.abc import Sequence

import numpy as np

from ingest.core.blocks import I64, NO_VALUE, RawRun
from ingest.core.channels import CHANNELS, ROW
from ingest.core.counters import FrameFault, LinkCounters
from ingest.core.ids import BootId, HeadId, MonotonicNs
from ingest.wire.codes import BOOT_MARK_SHIFT, STATUS_FLAGS, MessageType, boot_mark
from ingest.wire.hello import Hello, why_dropped
from ingest.wire.merge import FRAME, Frames, merge
from ingest.wire.messages import Report, decode_report
from ingest.wire.reports import Event
from ingest.wire.sample import CODES_PER_SET, SAMPLE_SIZE, SAMPLE_TYPES, split_batch

Received = Report | RawRun
"""What comes out of a decoder: what a head said, and its samples as runs."""

_ANY_SET = range(0x10, 0x20)
"""The types that are, or may become, sets of a sample."""


class Assembler:
    """Takes the bodies of one head in order. For links that keep bodies apart, as BLE does.

    Nothing but a hello is delivered until there is a hello that this receiver understands,
    nor after a message that bears another boot mark: the head restarted or is another one.
    Such messages, and a set 1 without its set 0, are counted as orphans.
    """

    def __init__(self, counters: LinkCounters) -> None:
        self._counters = counters
        self.reset()

    def reset(self) -> None:
        """Forget the head: the link was opened anew."""
        self._hello: Hello | None = None
        self._two_sets = False
        self._undeclared: list[int] = []
        self._held = b""
        self._held_ns = MonotonicNs(0)
        self._last_event: tuple[HeadId, BootId, int] | None = None

    @property
    def hello(self) -> Hello | None:
        """The hello in force; None while there is none that this receiver can use."""
        return self._hello

    def take(self, bodies: Sequence[bytes], arrived_ns: MonotonicNs) -> list[Received]:
        """Take bodies that arrived together; return what they complete, in order."""
        received: list[Received] = []
        frames: list[bytes] = []
        others = 0
        for body in bodies:
            if len(body) == SAMPLE_SIZE and body[0] in SAMPLE_TYPES:
                frames.append(body)
                continue
            others += 1
            if body and (body[0] in _ANY_SET or body[0] == MessageType.BATCH):
                frames += self._unpack(body)
            elif report := self._read(body):
                self._finish(frames, arrived_ns, received)
                frames = []
                self._deliver(report, received)
        self._finish(frames, arrived_ns, received)
        self._counters.frames += len(bodies) - others
        return received

    def _unpack(self, body: bytes) -> list[bytes]:
        """Return the sample bodies in a batch, or in a sample of a newer, longer form."""
        parts: list[bytes] | FrameFault
        if body[0] == MessageType.BATCH:
            parts = split_batch(body)
        elif body[0] not in SAMPLE_TYPES:
            parts = FrameFault.TYPE
        else:
            parts = [body[:SAMPLE_SIZE]] if len(body) > SAMPLE_SIZE else FrameFault.LENGTH
        if isinstance(parts, FrameFault):
            self._counters.faults[parts] += 1
            return []
        self._counters.frames += 1
        known = [part for part in parts if part[0] in SAMPLE_TYPES]
        if len(known) < len(parts):
            self._counters.faults[FrameFault.TYPE] += len(parts) - len(known)
        return known

    def _read(self, body: bytes) -> Report | None:
        report = decode_report(body) if body else FrameFault.SHORT
        if isinstance(report, FrameFault):
            self._counters.faults[report] += 1
            if body and body[0] == MessageType.HELLO:
                self._counters.bad_hellos += 1
                self._counters.bad_hello = why_dropped(body)
            return None
        self._counters.frames += 1
        return report

    def _deliver(self, report: Report, received: list[Received]) -> None:
        if isinstance(report, Hello):
            self._end(received)
            self._begin(report)
        elif self._hello is None:
            self._counters.orphans += 1
            return
        elif report.status >> BOOT_MARK_SHIFT != boot_mark(self._hello.boot):
            self._counters.orphans += 1
            self._counters.strangers += 1
            self._end(received)
            return
        elif isinstance(report, Event):
            event = (self._hello.head, self._hello.boot, report.number)
            if event == self._last_event:
                return
            self._last_event = event
        received.append(report)

    def _begin(self, hello: Hello) -> None:
        """Put a hello in force."""
        if not hello.supported:
            return
        declared = {ROW[info.channel] for info in hello.channels if info.channel is not None}
        self._two_sets = any(row >= CODES_PER_SET for row in declared)
        self._undeclared = [row for row in range(len(CHANNELS)) if row not in declared]
        self._hello = hello

    def _end(self, received: list[Received]) -> None:
        """Take the hello out of force; a sample that waits for its set 1 goes without."""
        if self._hello is not None and self._held:
            arrived_ns = np.full(1, self._held_ns, np.int64)
            self._append_run(np.frombuffer(self._held, FRAME), arrived_ns, received)
        self._hello = None
        self._held = b""

    def _finish(
        self, bodies: list[bytes], arrived_ns: MonotonicNs, received: list[Received]
    ) -> None:
        """Turn a stretch of sample bodies into a run, as far as the samples are complete."""
        if not bodies:
            return
        if self._hello is None:
            self._counters.orphans += len(bodies)
            return
        frames = np.frombuffer(self._held + b"".join(bodies), FRAME)
        arrivals = np.full(len(frames), arrived_ns, np.int64)
        if self._held:
            arrivals[0] = self._held_ns
        self._held = b""
        strange = frames["status"] >> BOOT_MARK_SHIFT != boot_mark(self._hello.boot)
        if strange.any():
            ours = int(strange.argmax())
            self._counters.orphans += len(frames) - ours
            self._counters.strangers += 1
            self._append_run(frames[:ours], arrivals[:ours], received)
            self._end(received)
            return
        if self._two_sets and frames[-1]["type"] == MessageType.SAMPLE_0:
            self._held, self._held_ns = frames[-1].tobytes(), arrived_ns
            frames, arrivals = frames[:-1], arrivals[:-1]
        self._append_run(frames, arrivals, received)

    def _append_run(self, frames: Frames, arrivals: I64, received: list[Received]) -> None:
        assert self._hello is not None
        merged = merge(frames, two_sets=self._two_sets)
        self._counters.orphans += len(frames) - merged.used
        count = len(merged.first)
        if not count:
            return
        if self._undeclared:
            merged.codes[self._undeclared] = NO_VALUE
        self._counters.samples += count
        run = RawRun(
            boot=self._hello.boot,
            seq=frames["seq"][merged.first].astype(np.int64),
            t_us=frames["t_us"][merged.first].astype(np.int64),
            status=frames["status"][merged.first] & np.uint8(STATUS_FLAGS),
            codes=merged.codes,
            arrived_ns=arrivals[merged.last],
        )
        received.append(run)
