"""Sockets of the service that ``core`` cannot describe, since they carry calibration."""

from typing import Protocol

from calibration.records.text import AnyRecord
from ingest.core.ids import HeadId


class CalibrationRecords(Protocol):
    """The calibration records of the heads."""

    def newest(self, head: HeadId) -> AnyRecord | None:
        """Return the head's newest record, or None when it has none.

        Raises ``CalibrationFileError`` when that one cannot be trusted; the head then counts
        as uncalibrated, and its error says why.
        """
        ...


class Recorder(Protocol):
    """Keeps what happened. Never blocks, never raises for its file's trouble."""

    def note(self, topic: str, data: bytes, at_ns: int, wall_ns: int) -> None:
        """Keep one record, of a moment on the monotonic and on the wall clock, ns."""
        ...
