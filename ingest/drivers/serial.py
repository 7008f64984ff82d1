"""A head on a serial port, as a ``Link``."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import serial

from ingest.core.errors import LinkLost, LinkNotFound, LinkTimeout
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, MonotonicClock
from ingest.core.units import NS
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.deadline_thread import DeadlineThread
from ingest.drivers.serial_errors import PORT_ERRORS, translate
from ingest.drivers.serial_fd import FdStream
from ingest.drivers.serial_hold import Holds
from ingest.drivers.serial_ports import find_device, parse_address
from ingest.drivers.serial_thread import ThreadStream

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


class SerialLink:
    """Bytes of one serial port: a tty or pty by its descriptor, all else by a thread."""

    def __init__(self, settings: SerialSettings, clock: MonotonicClock) -> None:
        self._settings = settings
        self._clock = clock
        self._address = parse_address(settings.port)
        self._queue = ChunkQueue(QUEUE_CHUNKS)
        self._thread = DeadlineThread(f"port {settings.port}")
        self._port: serial.Serial | None = None
        self._stream: FdStream | ThreadStream | None = None

    @property
    def name(self) -> str:
        return self._settings.port

    @property
    def dropped(self) -> int:
        return self._queue.dropped

    async def open(self) -> None:
        """Open the port for ourselves alone; raises ``LinkError``."""
        timeout_s = self._settings.open_timeout_s
        try:
            self._port = await self._thread.call(self._open_port, timeout_s, late=_close_port)
        except TimeoutError as error:
            raise LinkTimeout(self.name, f"did not open within {timeout_s:g} s") from error
        except (*PORT_ERRORS, ValueError) as error:
            raise translate(self.name, error, LinkNotFound) from error
        self._queue.restart()
        self._stream = self._stream_of(self._port)

    def chunks(self) -> AsyncIterator[Chunk]:
        return aiter(self._queue)

    async def send(self, data: bytes) -> None:
        """Send all bytes; raises ``LinkError``."""
        if self._stream is None:
            raise LinkLost(self.name, "not open now")
        timeout_s = self._settings.send_timeout_s
        self._stream.expect_reply()
        try:
            async with asyncio.timeout(timeout_s):
                await self._stream.write(data)
        except TimeoutError as error:
            raise LinkTimeout(self.name, f"took no bytes for {timeout_s:g} s") from error

    def rest(self, until_ns: MonotonicNs) -> None:
        """Take note that nothing is needed before a time."""
        if self._stream is not None:
            ahead_s = (until_ns - self._clock()) / NS
            self._stream.rest(asyncio.get_running_loop().time() + ahead_s)

    async def close(self) -> None:
        """Release the port. Idempotent; never raises for the port's trouble."""
        stream, self._stream = self._stream, None
        port, self._port = self._port, None
        if stream is not None:
            stream.stop()
        if port is not None:
            try:
                await self._thread.call(
                    partial(_shut, stream, port), self._settings.close_timeout_s
                )
            except (TimeoutError, *PORT_ERRORS):
                return  # the thread goes on closing; a port that is gone is closed

    def _open_port(self) -> serial.Serial:
        """Open, in a thread that may block."""
        device = find_device(self.name, self._address)
        alone: dict[str, Any] = {} if "://" in device else {"exclusive": True}
        return serial.serial_for_url(
            device,
            baudrate=self._settings.baud,
            timeout=0,
            write_timeout=self._settings.send_timeout_s,
            **alone,
        )

    def _stream_of(self, port: serial.Serial) -> FdStream | ThreadStream:
        try:
            fd = port.fileno() if "://" not in self._settings.port else None
        except (OSError, AttributeError):
            fd = None
        if fd is None:
            return ThreadStream(port, self.name, self._clock, self._queue)
        holds = Holds.at(self._settings.hold_s, self._settings.baud)
        return FdStream(fd, self.name, holds, self._clock, self._queue)


def _close_port(port: serial.Serial) -> None:
    try:
        port.close()
    except PORT_ERRORS:
        return


def _shut(stream: FdStream | ThreadStream | None, port: serial.Serial) -> None:
    if stream is not None:
        stream.join()
    _close_port(port)
