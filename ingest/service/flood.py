"""A bound on what one link may bring: the rest is dropped unread, so that others are heard."""

from dataclasses import dataclass

from ingest.core.units import NS

BYTES_PER_S = 160_000
"""Twice and more what a head says that sends all sets of 1000 samples a second, the most that
the protocol allows (54 bytes a sample, events and health beside)."""

BURST_S = 4.0
"""What has gathered while the service was busy with something else may come at once."""


@dataclass(slots=True)
class FloodGate:
    """Lets so many bytes a second through, by the times at which they arrived."""

    _room: float = BYTES_PER_S * BURST_S
    _since_ns: int | None = None

    def admits(self, size: int, arrived_ns: int) -> bool:
        """Say whether a piece of that size may pass."""
        if self._since_ns is not None:
            fresh = max(0, arrived_ns - self._since_ns) / NS * BYTES_PER_S
            self._room = min(self._room + fresh, BYTES_PER_S * BURST_S)
        self._since_ns = arrived_ns
        if size > self._room:
            return False
        self._room -= size
        return True
