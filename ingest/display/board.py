"""What the page server knows: the last message of every topic, and who is listening."""

import threading
from dataclasses import dataclass, replace

MOST_TOPICS = 4096
"""Topics that are remembered, and messages that wait for one listener. Beyond it the oldest go."""

_NEVER_KEPT = frozenset({"cmd", "evt", "reply"})
"""What stands after the bay in topics of things that happened once: who came late missed them."""


@dataclass(frozen=True, slots=True)
class Note:
    """One message. ``retained`` says that it is not fresh: it was known before."""

    topic: str
    payload: bytes
    retained: bool


class Outbox:
    """What waits for one listener: the newest message per topic, in order of arrival.

    A listener that is too slow loses older values of a topic, never the newest, so that it
    can lag but not mislead.
    """

    def __init__(self, notes: list[Note]) -> None:
        self._lock = threading.Lock()
        self._notes = {note.topic: note for note in notes}
        self._ready = threading.Event()
        self._ready.set()
        self._closed = False
        self._dropped = 0

    @property
    def dropped(self) -> int:
        """Messages that were overtaken before the listener took them."""
        return self._dropped

    @property
    def closed(self) -> bool:
        return self._closed

    def put(self, note: Note) -> None:
        with self._lock:
            if self._notes.pop(note.topic, None) is not None:
                self._dropped += 1
            elif len(self._notes) >= MOST_TOPICS:
                del self._notes[next(iter(self._notes))]
                self._dropped += 1
            self._notes[note.topic] = note
        self._ready.set()

    def take(self, timeout_s: float) -> list[Note]:
        """Return all that waits; an empty list when nothing came in time or all is over."""
        self._ready.wait(timeout_s)
        with self._lock:
            notes, self._notes = list(self._notes.values()), {}
            if not self._closed:
                self._ready.clear()
        return notes

    def close(self) -> None:
        self._closed = True
        self._ready.set()


class Board:
    """Takes every message once and hands it to all listeners. Safe from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last: dict[str, Note] = {}
        self._outboxes: set[Outbox] = set()
        self._closed = False

    @property
    def listeners(self) -> int:
        return len(self._outboxes)

    def post(self, note: Note) -> None:
        """Remember a message and hand it on. An empty payload clears its topic."""
        with self._lock:
            self._remember(note)
            for outbox in self._outboxes:
                outbox.put(note)

    def join(self, most: int) -> Outbox | None:
        """Return a new listener's outbox with the last of every topic in it.

        None when ``most`` are listening already, or all is over.
        """
        with self._lock:
            if self._closed or len(self._outboxes) >= most:
                return None
            outbox = Outbox([replace(note, retained=True) for note in self._last.values()])
            self._outboxes.add(outbox)
            return outbox

    def leave(self, outbox: Outbox) -> None:
        with self._lock:
            self._outboxes.discard(outbox)

    def close(self) -> None:
        """Send all listeners home, and let no one in any more."""
        with self._lock:
            self._closed = True
            for outbox in self._outboxes:
                outbox.close()

    def _remember(self, note: Note) -> None:
        self._last.pop(note.topic, None)
        if not note.payload or _happens_once(note.topic):
            return
        if len(self._last) >= MOST_TOPICS:
            del self._last[next(iter(self._last))]
        self._last[note.topic] = note


def _happens_once(topic: str) -> bool:
    levels = topic.split("/", 4)
    return len(levels) > 3 and levels[3] in _NEVER_KEPT
