"""A head on a serial port, as a ``Link``."""

from collections.abc import AsyncIterator
from dataclasses import dataclass

from ingest.core.ports import Chunk, MonotonicClock


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """One port. ``port`` is an address as ``serial_ports.parse_address`` takes it."""

    port: str
    baud: int = 115_200
    hold_s: float = 0.040
    open_timeout_s: float = 5.0
    send_timeout_s: float = 1.0
    close_timeout_s: float = 2.0


class SerialLink:
    """Bytes of one serial port."""

    def __init__(self, settings: SerialSettings, clock: MonotonicClock) -> None:
        self._settings = settings
        self._clock = clock

    @property
    def name(self) -> str:
        return self._settings.port

    @property
    def dropped(self) -> int:
        raise NotImplementedError

    async def open(self) -> None:
        raise NotImplementedError

    def chunks(self) -> AsyncIterator[Chunk]:
        raise NotImplementedError

    async def send(self, data: bytes) -> None:
        raise NotImplementedError

    async def close(self) -> None:
        raise NotImplementedError
