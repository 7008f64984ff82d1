"""Reads and writes a port in a thread, where there is no descriptor to wait on."""

import asyncio
import threading

from serial import Serial

from ingest.core.errors import LinkLost
from ingest.core.ports import Chunk, MonotonicClock
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.deadline_thread import DeadlineThread, post
from ingest.drivers.serial_errors import PORT_ERRORS, translate

READ_SIZE = 4096
POLL_S = 0.020
"""A read waits this long for its first byte. pyserial's sockets say no more of what waits than
whether anything does, so that a larger read returns when this time is over."""

JOIN_S = 1.0


class ThreadStream:
    """Bytes of one port. It does not own the port: who opened it closes it."""

    def __init__(self, port: Serial, link: str, clock: MonotonicClock, queue: ChunkQueue) -> None:
        self._port = port
        self._link = link
        self._clock = clock
        self._queue = queue
        self._loop = asyncio.get_running_loop()
        self._stopping = threading.Event()
        self._writer = DeadlineThread(f"write {link}")
        port.timeout = POLL_S
        self._thread = threading.Thread(target=self._read, name=f"read {link}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ask the thread to end, and fail the queue. Idempotent."""
        self._stopping.set()
        self._queue.fail(LinkLost(self._link, "closed"))

    def join(self) -> None:
        """Wait for the thread, in a thread that may wait."""
        self._thread.join(JOIN_S)

    def expect_reply(self) -> None:
        """Nothing rests here."""

    def rest(self, until_s: float) -> None:
        """Nothing rests here."""

    async def write(self, data: bytes) -> None:
        """Write all bytes; raises ``LinkLost``. The caller sets the deadline."""
        try:
            await self._writer.call(lambda: self._port.write(data), timeout_s=60.0)
        except PORT_ERRORS as error:
            raise translate(self._link, error, LinkLost) from error

    def _read(self) -> None:
        while not self._stopping.is_set():
            try:
                data = self._port.read(READ_SIZE)
            except (*PORT_ERRORS, TypeError) as error:  # TypeError: closed while reading
                lost = translate(self._link, error, LinkLost)
                post(self._loop, lambda lost=lost: self._queue.fail(lost))  # type: ignore[misc]
                return
            if data:
                chunk = Chunk(data, self._clock())
                post(self._loop, lambda chunk=chunk: self._queue.put(chunk))  # type: ignore[misc]
