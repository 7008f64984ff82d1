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
"""Pings of a minute: the least of their round trips counts."""
_ID_COUNT = 1 << 16
_US_COUNT = 1 << 32


class RoundTrips:
    """The pings of one link. At most one is under way; no clock of its own."""

    def __init__(self) -> None:
        self._id = 0
        self._sent_ns: MonotonicNs | None = None
        self._waits = False
        self._trips: deque[int | None] = deque(maxlen=KEPT)
        self.unanswered = 0
        """Pings without an answer of use, since the start."""
        self.unanswered_in_a_row = 0

    @property
    def least_ns(self) -> int | None:
        """The least round trip of the last minute or so; None before the first."""
        return min((trip for trip in self._trips if trip is not None), default=None)

    def restart(self) -> None:
        """Forget all: the link was opened anew."""
        self._sent_ns, self._waits = None, False
        self._trips.clear()
        self.unanswered_in_a_row = 0

    def next_ping(self, now_ns: MonotonicNs) -> int | None:
        """Return the id of the ping to send now, None while none is due. Asked each second."""
        self._miss(now_ns)
        if self._sent_ns is not None and now_ns - self._sent_ns < EVERY_S * NS:
            return None
        self._id = (self._id + 1) % _ID_COUNT
        self._sent_ns, self._waits = now_ns, True
        return self._id

    def take(self, pong: ClockPong, arrived_ns: MonotonicNs) -> None:
        """Take a pong; one that answers no ping under way, or says nonsense, is passed over."""
        if not self._waits or self._sent_ns is None or pong.ping_id != self._id:
            return
        away_ns = arrived_ns - self._sent_ns
        in_head_ns = (pong.sent_us - pong.received_us) % _US_COUNT * 1000
        if 0 <= in_head_ns <= away_ns <= ANSWER_S * NS:
            self._trips.append(away_ns - in_head_ns)
            self._waits = False
            self.unanswered_in_a_row = 0

    def not_sent(self) -> None:
        """Take note that the ping under way never left."""
        self._waits = False

    def _miss(self, now_ns: MonotonicNs) -> None:
        """Count the ping under way as unanswered once it is too late for its pong."""
        if self._waits and self._sent_ns is not None and now_ns - self._sent_ns > ANSWER_S * NS:
            self._waits = False
            self._trips.append(None)
            self.unanswered += 1
            self.unanswered_in_a_row += 1
