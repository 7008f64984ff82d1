"""How long a message takes to a head and back: what a clock map of arrivals cannot see.

Arrivals say when a sample came, never how long it was on its way. A ping does (SPEC.md 5.6):
no sample that is as quick as its pong was longer on its way than the round trip.
"""

from collections import deque

from ingest.core.ids import MonotonicNs
from ingest.core.units import NS
from ingest.wire.reports import ClockPong

EVERY_S = 10.0
ANSWER_S = 1.0
"""A pong that comes later than this answers nothing any more (a head has 100 ms)."""
KEPT = 6
"""Round trips of a minute: the least of them counts."""
_ID_COUNT = 1 << 16
_US_COUNT = 1 << 32


class RoundTrips:
    """The pings of one link. At most one is under way; no clock of its own."""

    def __init__(self) -> None:
        self._id = 0
        self._sent_ns: MonotonicNs | None = None
        self._waits = False
        self._trips: deque[int] = deque(maxlen=KEPT)

    @property
    def least_ns(self) -> int | None:
        """The least round trip of the last minute or so; None before the first."""
        return min(self._trips, default=None)

    def restart(self) -> None:
        """Forget all: the link was opened anew."""
        self._sent_ns, self._waits = None, False
        self._trips.clear()

    def next_ping(self, now_ns: MonotonicNs) -> int | None:
        """Return the id of the ping to send now, None while none is due."""
        if self._sent_ns is not None and now_ns - self._sent_ns < EVERY_S * NS:
            return None
        self._id = (self._id + 1) % _ID_COUNT
        self._sent_ns, self._waits = now_ns, True
        return self._id

    def take(self, pong: ClockPong, arrived_ns: MonotonicNs) -> None:
        """Take a pong; one that answers no ping under way, or says nonsense, is passed over."""
        if not self._waits or self._sent_ns is None or pong.ping_id != self._id:
            return
        self._waits = False
        away_ns = arrived_ns - self._sent_ns
        in_head_ns = (pong.sent_us - pong.received_us) % _US_COUNT * 1000
        if 0 <= in_head_ns <= away_ns <= ANSWER_S * NS:
            self._trips.append(away_ns - in_head_ns)
