"""The sockets that ``service`` plugs real things into. ``commands`` does the plugging."""

from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from ingest.core.ids import HeadId, HeadName, MonotonicNs


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as they came, stamped once, in the driver, on the host's monotonic clock."""

    data: bytes
    arrived_ns: MonotonicNs


class LinkForm(StrEnum):
    """What a chunk of a link is. The words stand in captures."""

    STREAM = "stream"
    """Bytes cut anywhere; frames are to be found in them (SPEC.md section 2)."""
    BODIES = "bodies"
    """One whole body, kept apart and checked by the link itself (SPEC.md section 11)."""


class Link(Protocol):
    """A link to one head. It does not parse, retry, or know other heads."""

    @property
    def name(self) -> str:
        """What a person configured, for messages."""
        ...

    @property
    def form(self) -> LinkForm:
        """What its chunks are, and what ``send`` and ``ask_hello`` take."""
        ...

    @property
    def dropped(self) -> int:
        """Chunks dropped since the link was made, oldest first, as nobody took them in time."""
        ...

    async def open(self) -> None:
        """Open the link; raises ``LinkError``. May be called again after ``close``."""
        ...

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield bytes until the link fails; raises ``LinkError`` (never ends silently)."""
        ...

    async def send(self, data: bytes) -> None:
        """Send bytes within a deadline; raises ``LinkError``."""
        ...

    async def ask_hello(self, command: bytes) -> None:
        """Have the head's hello come out of ``chunks``; raises ``LinkError``.

        By sending the command, or by reading it anew where the link keeps one.
        """
        ...

    def rest(self, until_ns: MonotonicNs) -> None:
        """Take note that nothing is needed before a time; a link may let bytes gather until then.

        A hint for one rest, which saves wake-ups where many heads stream.
        """
        ...

    async def close(self) -> None:
        """Release the port. Idempotent, and safe after a failed ``open``."""
        ...


class Outlet(Protocol):
    """Where messages leave. Never blocks, never raises for a broker's trouble."""

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Hand one message on. An empty payload clears a retained topic."""
        ...


class HeadNames(Protocol):
    """The names that the workshop gives its heads. Kept over restarts."""

    def name_of(self, head: HeadId) -> HeadName | None: ...

    def head_named(self, name: HeadName) -> HeadId | None: ...

    def set_name(self, head: HeadId, name: HeadName) -> None:
        """Name a head. Raises ``NameTaken`` when another head has that name."""
        ...


class NameTaken(Exception):
    """Another head has this name."""

    def __init__(self, name: HeadName, holder: HeadId) -> None:
        super().__init__(f"the name {name} belongs to head {holder}")
        self.name = name
        self.holder = holder


MonotonicClock = Callable[[], MonotonicNs]
"""Reads the host's monotonic clock. Only ``drivers`` and ``service`` hold one."""

WallClock = Callable[[], int]
"""Reads UTC, nanoseconds since 1970. Only ``service`` holds one, for publishing."""
