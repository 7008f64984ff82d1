"""A result as it was published: what a log of results keeps of it."""

from dataclasses import dataclass
from typing import Protocol

from ingest.core.ids import HeadId


@dataclass(frozen=True, slots=True)
class PublishedResult:
    """One settled result and what it stands on. Figures are rounded, as they were published.

    ``said_ms`` (UTC since 1970) is its message's own time: when the wheel was read.
    ``settled`` names the rest that it was read from: a later result with the same ``topic``
    and ``settled`` is that one, better known. ``heads`` pairs each head with its calibration
    record, None where it had none. ``topic`` lies below the bay (``axle/1/left/camber``).
    """

    said_ms: int
    bay: str
    topic: str
    settled: str
    value_deg: float
    U_deg: float | None
    k: float | None
    quality: str
    spread: str
    heads: tuple[tuple[HeadId, str | None], ...]


class PublishedResults(Protocol):
    """Keeps what was published. Never blocks, never raises for its file's trouble."""

    def note(self, result: PublishedResult) -> None:
        """Keep one result."""
        ...
