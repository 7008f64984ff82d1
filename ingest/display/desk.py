"""What all requests to the display share: the bay, the papers, the files, who is connected."""

import json
import threading
from collections.abc import Mapping
from dataclasses import dataclass

from ingest.display.papers import Papers
from ingest.display.relay import Dial, Relay
from ingest.display.shelf import Sheet

MOST_RELAYS = 64
"""Pages that are connected to the broker at a time."""


@dataclass(frozen=True, slots=True)
class Source:
    """The bay that pages look at, and how to reach its broker."""

    bay: str
    dial: Dial
    at_home: bool
    """The broker lets everybody on this machine in: whoever looks is the technician."""


class Desk:
    """Safe from any thread."""

    def __init__(self) -> None:
        self.shelf: Mapping[str, Sheet] = {}
        self.source: Source | None = None
        self.papers: Papers | None = None
        self._relays: set[Relay] = set()
        self._lock = threading.Lock()
        self._closed = False

    def about(self) -> bytes:
        """Return what a page asks first: which bay, and what it may do."""
        source = self.source
        told = {
            "bay": None if source is None else source.bay,
            "at_home": source is not None and source.at_home,
        }
        return json.dumps(told).encode()

    def admit(self, relay: Relay) -> bool:
        """Take a connection in; False where there are too many, or all is over."""
        with self._lock:
            if self._closed or len(self._relays) >= MOST_RELAYS:
                return False
            self._relays.add(relay)
            return True

    def dismiss(self, relay: Relay) -> None:
        """A connection has ended."""
        with self._lock:
            self._relays.discard(relay)

    def close(self) -> None:
        """Send everybody home, and let no one in any more."""
        with self._lock:
            self._closed = True
            relays = list(self._relays)
        for relay in relays:
            relay.close()
