"""What is held back for the broker, what is thrown away, and what is said again."""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ingest.core.ids import MonotonicNs
from ingest.core.units import NS


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message on its way. ``correlation`` goes back to whoever asked for it."""

    topic: str
    payload: bytes
    retain: bool
    qos: int
    expiry_s: float | None
    given_ns: MonotonicNs
    correlation: bytes | None = None

    def is_old(self, now_ns: MonotonicNs) -> bool:
        """Tell whether it has outlived its expiry."""
        return self.expiry_s is not None and now_ns - self.given_ns > self.expiry_s * NS


@dataclass(slots=True)
class OutboxCounters:
    """What never reached the broker, by reason."""

    overtaken: int = 0
    """Live values replaced by a newer one of their topic before they could leave."""
    expired: int = 0
    """Values, events and replies that grew too old while waiting."""
    crowded_out: int = 0
    """Events and replies dropped, oldest first, because too many were waiting."""


class Outbox:
    """Holds messages in memory, bounded, and hands them out in the order that serves best.

    Three kinds, told apart by how they are published: *live* (QoS 0) is the newest of its
    topic or nothing; *state* (QoS 1, retained) is the newest of its topic, is never lost, and
    leaves in the order in which it was put: what was said last is heard last;
    *news* (QoS 1, not retained) is a queue of ``news_limit``. The last retained message of
    every topic is remembered, to be said again to a broker that may have forgotten it.
    """

    def __init__(self, *, news_limit: int = 1000) -> None:
        self._news_limit = news_limit
        self._news: deque[Outgoing] = deque()
        self._state: dict[str, Outgoing] = {}
        self._live: dict[str, Outgoing] = {}
        self._retained: dict[str, Outgoing] = {}
        self.counters = OutboxCounters()

    def __len__(self) -> int:
        return len(self._news) + len(self._state) + len(self._live)

    @property
    def owes(self) -> int:
        """How many messages wait that must not be lost."""
        return len(self._news) + len(self._state)

    def put(self, message: Outgoing) -> None:
        """Take a message."""
        if message.retain:
            self._remember(message)
        if message.qos == 0:
            self._state.pop(message.topic, None)
            self.counters.overtaken += message.topic in self._live
            self._live[message.topic] = message
        elif message.retain:
            # State leaves first: an older live value must not follow it, least of all a clearing.
            self.counters.overtaken += self._live.pop(message.topic, None) is not None
            _renew(self._state, message)
        else:
            self._put_news(message)

    def take(self, now_ns: MonotonicNs, *, may_owe: bool) -> Outgoing | None:
        """Return the next message to send, or None.

        ``may_owe`` says whether one more may be on its way unacknowledged; without, only
        live ones leave.
        """
        if may_owe:
            while self._news:
                message = self._news.popleft()
                if not message.is_old(now_ns):
                    return message
                self.counters.expired += 1
            if self._state:
                return self._state.pop(next(iter(self._state)))
        while self._live:
            message = self._live.pop(next(iter(self._live)))
            if not message.is_old(now_ns):
                return message
            self.counters.expired += 1
        return None

    def give_back(self, unacknowledged: Sequence[Outgoing]) -> None:
        """Take back, in order, what was sent and never acknowledged."""
        waiting, self._state = self._state, {}
        for message in (*(m for m in unacknowledged if m.retain), *waiting.values()):
            _renew(self._state, message)
        self._news.extendleft(m for m in reversed(unacknowledged) if not m.retain)

    def say_again(self, birth: Outgoing, describes: Callable[[str], bool]) -> None:
        """Queue all retained state for a new connection: descriptions, the birth, the rest."""
        again = {**self._retained, **self._state}
        again.pop(birth.topic, None)
        owed = {topic: message for topic, message in again.items() if message.qos > 0}
        first = {topic: message for topic, message in owed.items() if describes(topic)}
        self._remember(birth)
        self._state = {**first, birth.topic: birth, **owed}
        for topic, message in self._retained.items():
            if message.qos == 0:
                self._live.setdefault(topic, message)

    def _remember(self, message: Outgoing) -> None:
        if message.payload:
            self._retained[message.topic] = message
        else:
            self._retained.pop(message.topic, None)

    def _put_news(self, message: Outgoing) -> None:
        if len(self._news) >= self._news_limit:
            self._news.popleft()
            self.counters.crowded_out += 1
        self._news.append(message)


def _renew(state: dict[str, Outgoing], message: Outgoing) -> None:
    """Put the newest of a topic last, not in the place of an older one: it would overtake all that
    was said between the two."""
    state.pop(message.topic, None)
    state[message.topic] = message
