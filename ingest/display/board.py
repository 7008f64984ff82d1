"""What the page server knows: the last message of every topic, and who is listening."""

import itertools
import threading
from dataclasses import dataclass, replace

MOST_TOPICS = 4096
"""Topics that are remembered; beyond it the oldest goes."""

MOST_WAITING = 2 * MOST_TOPICS
"""Messages that wait for one listener; beyond it the listener is sent home to start afresh."""

_HAPPENS_ONCE = frozenset({"cmd", "evt", "reply"})
"""What stands after the bay in topics of things that happened once: who came late missed them."""

_STANDS = frozenset({"status", "meta"})
"""Last levels under a head that are no live values."""


@dataclass(frozen=True, slots=True)
class Note:
    """One message. ``retained`` says that it is not fresh: it was known before."""

    topic: str
    payload: bytes
    retained: bool


class Outbox:
    """What waits for one listener, in order of arrival.

    Of a live topic only the newest waits: a slow listener loses what has been overtaken. A
    state is never left out; whoever falls too far behind is sent home instead.
    """

    def __init__(self, notes: list[Note]) -> None:
        self._lock = threading.Lock()
        self._turn = itertools.count()
        self._notes: dict[str | int, Note] = {note.topic: note for note in notes}
        self._ready = threading.Event()
        self._ready.set()
        self._closed = False
        self._overtaken = 0

    @property
    def overtaken(self) -> int:
        """Live values that a newer one replaced before the listener took them."""
        return self._overtaken

    @property
    def closed(self) -> bool:
        return self._closed

    def put(self, note: Note, *, live: bool) -> None:
        with self._lock:
            if live and self._notes.pop(note.topic, None) is not None:
                self._overtaken += 1
            if len(self._notes) >= MOST_WAITING:
                self._notes.clear()
                self._closed = True
            else:
                self._notes[note.topic if live else next(self._turn)] = note
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
        with self._lock:
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
        levels = note.topic.split("/")
        live = len(levels) == 6 and levels[3] == "head" and levels[5] not in _STANDS
        once = len(levels) > 3 and levels[3] in _HAPPENS_ONCE
        with self._lock:
            if not once:
                self._remember(note)
            for outbox in self._outboxes:
                outbox.put(note, live=live)

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
        if not note.payload:
            return
        if len(self._last) >= MOST_TOPICS:
            del self._last[next(iter(self._last))]
        self._last[note.topic] = note
