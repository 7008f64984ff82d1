"""A head on a serial port, or on something that stands for one, as a ``Link``."""

import asyncio
import io
import logging
import os
from collections.abc import AsyncIterator
from dataclasses import dataclass
from functools import partial

import serial

from ingest.core.errors import LinkLost, LinkTimeout
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, LinkForm, MonotonicClock
from ingest.core.units import NS
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.deadline_thread import DeadlineThread
from ingest.drivers.serial_errors import PORT_ERRORS, not_opened
from ingest.drivers.serial_fd import FdStream
from ingest.drivers.serial_hold import LINGER_S, Holds
from ingest.drivers.serial_ports import find_device, parse_address
from ingest.drivers.serial_thread import ThreadStream

log = logging.getLogger(__name__)

QUEUE_CHUNKS = 256
"""At twenty chunks a second: thirteen seconds of nobody listening."""


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """One port. ``port`` is an address as ``serial_ports.parse_address`` takes it.

    ``hold_s`` is the usual rest between reads (see ``serial_hold``); 0 reads at every
    arrival. Raises ``ValueError`` for what cannot be.
    """

    port: str
    baud: int = 115_200
    hold_s: float = 0.040
    open_timeout_s: float = 5.0
    send_timeout_s: float = 1.0
    close_timeout_s: float = 2.0

    def __post_init__(self) -> None:
        parse_address(self.port)
        if not 300 <= self.baud <= 12_000_000:
            raise ValueError(f"baud must be 300 to 12000000, not {self.baud}")
        if not 0.0 <= self.hold_s <= 0.5:
            raise ValueError(f"hold_s must be 0 to 0.5, not {self.hold_s}")

    @property
    def name(self) -> str:
        """What messages call the link."""
        return self.port


class SerialLink:
    """Bytes of one serial port, opened for ourselves alone. Nothing here blocks the loop."""

    def __init__(self, settings: SerialSettings, clock: MonotonicClock) -> None:
        self._settings = settings
        self._clock = clock
        self._queue = ChunkQueue(QUEUE_CHUNKS)
        self._thread = DeadlineThread(f"port {settings.port}")
        self._sending = asyncio.Lock()
        self._port: serial.Serial | None = None
        self._stream: FdStream | ThreadStream | None = None

    @property
    def name(self) -> str:
        """The address that a person configured."""
        return self._settings.name

    @property
    def form(self) -> LinkForm:
        """Frames in a stream of bytes."""
        return LinkForm.STREAM

    @property
    def dropped(self) -> int:
        """Chunks dropped since the link was made, oldest first, as nobody took them in time."""
        return self._queue.dropped

    async def open(self) -> None:
        """Open the port.

        Raises: ``LinkNotFound``, ``LinkBusy``, ``LinkDenied``, ``LinkTimeout``.
        """
        await self.close()
        limit_s = self._settings.open_timeout_s
        work = partial(open_port, self._settings)
        try:
            self._port = await self._thread.call(work, limit_s, late=close_port)
        except TimeoutError:
            raise LinkTimeout(self.name, f"did not open within {limit_s:g} s") from None
        self._queue.restart()
        self._stream = self._stream_of(self._port)

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield bytes until the port fails: ``LinkLost``."""
        return aiter(self._queue)

    async def send(self, data: bytes) -> None:
        """Send all bytes, not mixed with another's. Raises ``LinkLost``, ``LinkTimeout``."""
        limit_s = self._settings.send_timeout_s
        try:
            async with asyncio.timeout(limit_s), self._sending:
                if self._stream is None:
                    raise LinkLost(self.name, "not open now")
                self._stream.expect_reply()
                await self._stream.write(data)
        except TimeoutError:
            raise LinkTimeout(self.name, f"took no bytes for {limit_s:g} s") from None

    async def ask_hello(self, command: bytes) -> None:
        """Send the command: a head on a byte link answers with its hello."""
        await self.send(command)

    def rest(self, until_ns: MonotonicNs) -> None:
        """Take note that nothing is needed before a time."""
        if self._stream is not None:
            ahead_s = (until_ns - self._clock()) / NS
            self._stream.rest(asyncio.get_running_loop().time() + ahead_s)

    async def close(self) -> None:
        """Release the port. Idempotent; never raises for the port's trouble."""
        stream, self._stream = self._stream, None
        port, self._port = self._port, None
        if stream is None or port is None:
            return
        stream.stop()
        limit_s = self._settings.close_timeout_s
        try:
            await self._thread.call(partial(close_port, port, stream), limit_s)
        except TimeoutError:
            log.warning("%s: not closed within %g s; the next opening waits", self.name, limit_s)

    def _stream_of(self, port: serial.Serial) -> FdStream | ThreadStream:
        holds = Holds.at(self._settings.hold_s, self._settings.baud)
        fd = descriptor(port)
        if fd is None:
            return ThreadStream(port, self.name, holds, self._clock, self._queue)
        return FdStream(fd, self.name, holds, self._clock, self._queue)


def open_port(settings: SerialSettings) -> serial.Serial:
    """Open a port exclusively. Blocks. Raises ``LinkNotFound``, ``LinkBusy``, ``LinkDenied``."""
    device = find_device(settings.port, parse_address(settings.port))
    # Over RFC 2217 pyserial has no write timeout; the caller's deadline has to do there.
    write_timeout_s = None if device.startswith("rfc2217:") else settings.send_timeout_s
    try:
        return serial.serial_for_url(
            device,
            baudrate=settings.baud,
            timeout=LINGER_S,
            write_timeout=write_timeout_s,
            exclusive=True,
        )
    except (*PORT_ERRORS, ValueError) as error:
        raise not_opened(settings.port, error) from error


def close_port(port: serial.Serial, stream: FdStream | ThreadStream | None = None) -> None:
    """Close a port, once nothing reads it. Blocks. One that is gone is as good as closed."""
    if stream is not None:
        stream.join()
    try:
        port.close()
    except PORT_ERRORS as error:
        log.debug("while closing %s: %s", port.port, error)


def descriptor(port: serial.Serial) -> int | None:
    """Return what the event loop can wait for, if the port has such a thing here."""
    if os.name != "posix":
        return None
    try:
        return int(port.fileno())
    except (AttributeError, io.UnsupportedOperation):
        return None
