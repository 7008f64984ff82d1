"""Reads a port in a thread, where the event loop cannot wait for it (RFC 2217, Windows)."""

import asyncio
import threading
from collections.abc import Callable
from functools import partial

import serial

from ingest.core.errors import LinkLost
from ingest.core.ports import Chunk, MonotonicClock
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.deadline_thread import DeadlineThread, post
from ingest.drivers.serial_errors import PORT_ERRORS, lost
from ingest.drivers.serial_hold import REPLY_S, TAIL_S, Holds

CLOSED_UNDER_IT = (AttributeError, TypeError)
"""What pyserial raises from a call during which its port was closed."""

JOIN_S = 1.0


class ThreadStream:
    """Bytes of one pyserial port, whose read timeout must be ``LINGER_S``.

    The same rhythm as ``FdStream`` (see ``serial_hold``), but without its sharp timing.
    """

    def __init__(
        self,
        port: serial.Serial,
        link: str,
        holds: Holds,
        clock: MonotonicClock,
        queue: ChunkQueue,
    ) -> None:
        self._port = port
        self._link = link
        self._holds = holds
        self._needed_s = 0.0
        self._clock = clock
        self._queue = queue
        self._loop = asyncio.get_running_loop()
        self._stopped = False
        self._kept = b""
        self._rest_over = threading.Event()
        self._eager_until_s = 0.0
        self._writer = DeadlineThread(f"write {link}")
        self._reader = threading.Thread(target=self._run, name=f"read {link}", daemon=True)
        self._reader.start()

    def stop(self) -> None:
        """Let the thread end. Idempotent."""
        self._stopped = True
        self._rest_over.set()
        self._queue.fail(LinkLost(self._link, "closed"))

    def join(self) -> None:
        """Wait for the thread, which ends within its read timeout. Blocks."""
        self._reader.join(JOIN_S)

    def expect_reply(self) -> None:
        """Read at every arrival for a while."""
        self._eager_until_s = self._loop.time() + REPLY_S
        self._rest_over.set()

    def rest(self, until_s: float) -> None:
        """Take note of when bytes are needed again, on the event loop's clock."""
        self._needed_s = until_s

    async def write(self, data: bytes) -> None:
        """Write all bytes; raises ``LinkLost``. The caller sets the deadline."""
        try:
            await self._writer.call(partial(self._port.write, data), timeout_s=None)
        except (*PORT_ERRORS, *CLOSED_UNDER_IT) as error:
            failure = lost(self._link, error)
            self._queue.fail(failure)
            raise failure from error

    def _run(self) -> None:
        try:
            while not self._stopped:
                self._burst()
        except (*PORT_ERRORS, *CLOSED_UNDER_IT) as error:
            self._hand_on(b"")
            self._post(partial(self._queue.fail, lost(self._link, error)))

    def _burst(self) -> None:
        """Hand on one burst, with what was kept before it; keep what gathers in the rest."""
        data = self._port.read(1)
        self._hand_on(self._with_waiting(data))
        if not data or self._holds.usual_s <= 0.0:
            return
        tail_end_s = self._loop.time() + TAIL_S
        while self._loop.time() < max(tail_end_s, self._eager_until_s) and not self._stopped:
            self._hand_on(self._with_waiting(self._port.read(1)))
        wanted_s = self._needed_s - self._loop.time()
        if self._holds.overdue(wanted_s):
            return
        self._rest_over.clear()
        self._rest_over.wait(self._holds.rest_s(wanted_s))
        self._kept = self._with_waiting(b"")

    def _with_waiting(self, data: bytes) -> bytes:
        while not self._stopped and (waiting := self._port.in_waiting):
            data += self._port.read(waiting)
        return data

    def _hand_on(self, data: bytes) -> None:
        """Hand on what was kept, and more."""
        data = self._kept + data
        self._kept = b""
        if data:
            self._post(partial(self._queue.put, Chunk(data, self._clock())))

    def _post(self, news: Callable[[], None]) -> None:
        post(self._loop, partial(self._unless_stopped, news))

    def _unless_stopped(self, news: Callable[[], None]) -> None:
        """A thread that outlives its session (see ``JOIN_S``) has no say in the next one."""
        if not self._stopped:
            news()
