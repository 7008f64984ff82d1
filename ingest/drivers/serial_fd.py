"""Reads and writes a port through its file descriptor, in the event loop (POSIX)."""

import asyncio
import os
from collections.abc import Callable
from enum import Enum, auto

from ingest.core.errors import LinkLost
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, MonotonicClock
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.serial_errors import PORT_ERRORS, lost
from ingest.drivers.serial_hold import CROWDED, LINGER_S, REPLY_S, TAIL_S, TTY_BUFFER, Holds


class Phase(Enum):
    """What a stream is at. It reads whatever arrives, except in ``REST``."""

    WATCH = auto()
    TAIL = auto()
    """Bytes have come; more of the same burst may follow."""
    REST = auto()
    KEPT = auto()
    """Bytes of the rest are in hand, to go out with the next that arrive."""


class FdStream:
    """Bytes of one descriptor. It does not own it: who opened the port closes it.

    A usual hold of 0 never rests. See ``serial_hold`` for the rhythm.
    """

    def __init__(
        self, fd: int, link: str, holds: Holds, clock: MonotonicClock, queue: ChunkQueue
    ) -> None:
        self._fd = fd
        self._link = link
        self._holds = holds
        self._needed_s = 0.0
        self._clock = clock
        self._queue = queue
        self._loop = asyncio.get_running_loop()
        self._phase = Phase.WATCH
        self._timer: asyncio.TimerHandle | None = None
        self._kept = b""
        self._kept_ns = MonotonicNs(0)
        self._crowded = False
        self._eager_until_s = 0.0
        self._writable: asyncio.Future[None] | None = None
        self._loop.add_reader(fd, self._on_readable)

    def stop(self) -> None:
        """Let go of the descriptor. Idempotent."""
        self._fail(LinkLost(self._link, "closed"))

    def join(self) -> None:
        """Wait for threads; there are none here."""

    def expect_reply(self) -> None:
        """Read at every arrival for a while."""
        self._eager_until_s = self._loop.time() + REPLY_S
        if self._phase is Phase.REST:
            self._end_rest()

    def rest(self, until_s: float) -> None:
        """Take note of when bytes are needed again, on the event loop's clock."""
        self._needed_s = until_s

    async def write(self, data: bytes) -> None:
        """Write all bytes; raises ``LinkLost``. The caller sets the deadline."""
        left = memoryview(data)
        while left:
            try:
                left = left[os.write(self._fd, left) :]
            except BlockingIOError:
                await self._until_writable()
            except PORT_ERRORS as error:
                self._fail(failure := lost(self._link, error))
                raise failure from error

    async def _until_writable(self) -> None:
        self._writable = self._loop.create_future()
        self._loop.add_writer(self._fd, self._on_writable)
        try:
            await self._writable
        finally:
            self._loop.remove_writer(self._fd)
            self._writable = None

    def _on_writable(self) -> None:
        if self._writable is not None and not self._writable.done():
            self._writable.set_result(None)

    def _on_readable(self) -> None:
        data = self._read()
        arrived_ns = self._clock()  # after the read: no stamp is earlier than its bytes
        if data == b"":
            # How Linux shows an unplugged terminal, and TCP a peer that closed.
            self._fail(LinkLost(self._link, "the port went away"))
        elif data is not None:
            self._hand_on(data, arrived_ns)

    def _read(self) -> bytes | None:
        """Return what waits; None when nothing does after all, or the port has failed."""
        try:
            return os.read(self._fd, TTY_BUFFER)
        except BlockingIOError:
            return None
        except PORT_ERRORS as error:
            self._fail(lost(self._link, error))
            return None

    def _hand_on(self, data: bytes, arrived_ns: MonotonicNs) -> None:
        self._queue.put(Chunk(self._kept + data, arrived_ns))
        self._kept = b""
        self._crowded = len(data) >= CROWDED
        if self._holds.usual_s > 0.0 and self._phase is not Phase.TAIL:
            self._enter(Phase.TAIL, TAIL_S, self._end_tail)

    def _end_tail(self) -> None:
        now_s = self._loop.time()
        wanted_s = self._needed_s - now_s
        if self._crowded or now_s < self._eager_until_s or self._holds.overdue(wanted_s):
            self._phase = Phase.WATCH
        else:
            self._loop.remove_reader(self._fd)
            self._enter(Phase.REST, self._holds.rest_s(wanted_s), self._end_rest)

    def _end_rest(self) -> None:
        self._cancel_timer()
        self._loop.add_reader(self._fd, self._on_readable)
        kept = self._read()
        if not kept:  # nothing waits, or an end of file, which will show as an arrival
            return
        self._kept, self._kept_ns = kept, self._clock()
        self._enter(Phase.KEPT, LINGER_S, self._flush)
        if len(kept) >= CROWDED:
            self._flush()

    def _flush(self) -> None:
        """Hand on what was kept. Nothing follows it for now, so there is no rest either."""
        self._cancel_timer()
        self._queue.put(Chunk(self._kept, self._kept_ns))
        self._kept = b""

    def _enter(self, phase: Phase, seconds: float, at_its_end: Callable[[], None]) -> None:
        self._cancel_timer()
        self._phase = phase
        self._timer = self._loop.call_later(seconds, at_its_end)

    def _cancel_timer(self) -> None:
        self._phase = Phase.WATCH
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _fail(self, error: LinkLost) -> None:
        self._loop.remove_reader(self._fd)
        if self._kept:
            self._flush()
        self._cancel_timer()
        self._queue.fail(error)
        if self._writable is not None and not self._writable.done():
            self._writable.set_exception(error)
