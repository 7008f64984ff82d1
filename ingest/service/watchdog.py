"""Connected is not alive: says when a link has been silent for too long."""

from dataclasses import dataclass

from ingest.core.ids import MonotonicNs
from ingest.core.units import NS


@dataclass(frozen=True, slots=True)
class WatchdogSettings:
    """``limit_s``: longest silence between valid frames. ``grace_s``: what is allowed on top
    after opening, for a board that restarts when its port is opened and first sends text."""

    limit_s: float = 2.0
    grace_s: float = 3.0

    def __post_init__(self) -> None:
        if not self.limit_s > 0.0 or not self.grace_s >= 0.0:
            raise ValueError("watchdog needs limit_s > 0 and grace_s >= 0")


class Watchdog:
    """Judges silence from the times it is given; it holds no clock and no timer."""

    def __init__(self, settings: WatchdogSettings, opened_ns: MonotonicNs) -> None:
        self._limit_ns = round(settings.limit_s * NS)
        self._alive_ns = opened_ns + round(settings.grace_s * NS)

    def note_good(self, now_ns: MonotonicNs) -> None:
        """Take note of a valid frame. One early frame does not end the grace."""
        self._alive_ns = max(self._alive_ns, now_ns)

    def remaining_s(self, now_ns: MonotonicNs) -> float:
        """Return the seconds of silence still allowed; below 0: silent for too long."""
        return (self._alive_ns + self._limit_ns - now_ns) / NS
