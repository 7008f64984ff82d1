"""Reads and writes a port through its file descriptor, in the event loop (POSIX)."""

import asyncio
import os

from ingest.core.errors import LinkError, LinkLost
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, MonotonicClock
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.serial_errors import PORT_ERRORS, describe, number_of, translate
from ingest.drivers.serial_hold import CROWDED, LINGER_S, REPLY_S, TAIL_S, TTY_BUFFER, Holds


class FdStream:
    """Bytes of one descriptor. It does not own it: who opened the port closes it.

    A usual hold of 0 reads at every arrival. See ``serial_hold`` for the rhythm.
    """

    def __init__(
        self,
        fd: int,
        link: str,
        holds: Holds,
        clock: MonotonicClock,
        queue: ChunkQueue,
    ) -> None:
        self._fd = fd
        self._link = link
        self._hold_s = holds.usual_s
        self._longest_s = holds.longest_s
        self._until_s = 0.0
        self._clock = clock
        self._queue = queue
        self._loop = asyncio.get_running_loop()
        self._kept = b""
        self._kept_ns = MonotonicNs(0)
        self._timer: asyncio.TimerHandle | None = None
        self._tail: asyncio.TimerHandle | None = None
        self._eager_until_s = 0.0
        self._writable: asyncio.Future[None] | None = None
        self._stopped = False
        self._loop.add_reader(fd, self._on_readable)

    def stop(self) -> None:
        """Let go of the descriptor. Idempotent."""
        self._fail(LinkLost(self._link, "closed"))

    def join(self) -> None:
        """Nothing of this stream runs elsewhere."""

    def expect_reply(self) -> None:
        """Read at every arrival for a while."""
        self._eager_until_s = self._loop.time() + REPLY_S
        if self._timer is not None and not self._kept:
            self._rest_over()

    def rest(self, until_s: float) -> None:
        """Take note of when bytes are needed again, on the event loop's clock."""
        self._until_s = until_s

    async def write(self, data: bytes) -> None:
        """Write all bytes; raises ``LinkLost``. The caller sets the deadline."""
        left = memoryview(data)
        while left:
            try:
                left = left[os.write(self._fd, left) :]
            except BlockingIOError:
                await self._until_writable()
            except PORT_ERRORS as error:
                lost = translate(self._link, error, LinkLost)
                self._fail(lost)
                raise lost from error

    def _until_writable(self) -> "asyncio.Future[None]":
        if self._writable is None:
            self._writable = self._loop.create_future()
            self._loop.add_writer(self._fd, self._on_writable)
        return self._writable

    def _on_writable(self) -> None:
        waiting, self._writable = self._writable, None
        self._loop.remove_writer(self._fd)
        if waiting is not None and not waiting.done():
            waiting.set_result(None)

    def _on_readable(self) -> None:
        """Bytes have just come: hand them on, with what was kept over the rest."""
        data = self._read()
        if not data:  # ready to be read, and nothing there: that is how Linux says unplugged
            self._fail(LinkLost(self._link, "the port went away"))
            return
        self._keep(data)
        self._hand_on()
        if self._tail is None and self._may_rest(len(data)):
            self._tail = self._loop.call_later(TAIL_S, self._tail_over)

    def _may_rest(self, size: int) -> bool:
        eager = self._loop.time() < self._eager_until_s
        return self._hold_s > 0.0 and not eager and size < CROWDED

    def _tail_over(self) -> None:
        """The burst is in: rest."""
        self._tail = None
        if self._timer is not None:
            self._timer.cancel()
        self._loop.remove_reader(self._fd)
        self._timer = self._loop.call_later(self._rest_s(), self._rest_over)

    def _rest_s(self) -> float:
        """Return how long to rest: until bytes are needed, or else the usual hold."""
        wanted_s = self._until_s - self._loop.time()
        return min(wanted_s, self._longest_s) if wanted_s > 0.0 else self._hold_s

    def _rest_over(self) -> None:
        """Take what came during the rest, and wait for the next bytes, though not for long."""
        if self._timer is not None:
            self._timer.cancel()
        self._timer = None
        data = self._read()
        if self._stopped:
            return
        self._loop.add_reader(self._fd, self._on_readable)
        if data:
            self._keep(data)
            self._timer = self._loop.call_later(LINGER_S, self._hand_on)

    def _read(self) -> bytes:
        """Return what waits, perhaps nothing; a failure is passed on."""
        try:
            data = os.read(self._fd, TTY_BUFFER)
        except BlockingIOError:
            return b""
        except PORT_ERRORS as error:
            self._fail(
                LinkLost(self._link, f"the port went away ({describe(error, number_of(error))})")
            )
            return b""
        return data

    def _keep(self, data: bytes) -> None:
        self._kept_ns = self._clock()
        self._kept += data

    def _hand_on(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._kept:
            self._queue.put(Chunk(self._kept, self._kept_ns))
            self._kept = b""

    def _fail(self, error: LinkError) -> None:
        """End the stream: hand on what is left, then the failure."""
        if self._stopped:
            return
        self._stopped = True
        self._loop.remove_reader(self._fd)
        self._loop.remove_writer(self._fd)
        for timer in (self._timer, self._tail):
            if timer is not None:
                timer.cancel()
        self._timer = self._tail = None
        if self._kept:
            self._queue.put(Chunk(self._kept, self._kept_ns))
            self._kept = b""
        self._queue.fail(error)
        waiting, self._writable = self._writable, None
        if waiting is not None and not waiting.done():
            waiting.set_exception(error)
