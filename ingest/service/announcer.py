"""Says things in the bay's topics: stamps, numbers and hands messages to the outlet."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from ingest.core.ids import MonotonicNs
from ingest.core.ports import MonotonicClock, Outlet, WallClock
from ingest.core.units import NS
from ingest.payload.base import Message
from ingest.payload.stamp import epoch_ms, rfc3339
from ingest.payload.topics import Topics
from ingest.service.verdicts import NoVerdicts, Verdicts


@dataclass(slots=True)
class Announcer:
    """The one place where wall time is added and messages are counted.

    ``boot`` names this start of the service; with a topic's own ``seq`` it names a message,
    so that a reader can drop repeats.
    """

    topics: Topics
    outlet: Outlet
    clock: MonotonicClock
    wall: WallClock
    boot: str
    verdicts: Verdicts = field(default_factory=NoVerdicts)
    """What results are held against."""
    _seq: Counter[str] = field(default_factory=Counter)

    def moment(self, t_ns: int | None = None) -> dict[str, Any]:
        """Return ``t`` and ``ms`` of a monotonic time, or of now."""
        ago_ns = 0 if t_ns is None else self.clock() - MonotonicNs(t_ns)
        wall_ns = self.wall() - ago_ns
        return {"t": rfc3339(wall_ns), "ms": epoch_ms(wall_ns)}

    def today(self) -> date:
        """Return the date (UTC): what a calibration record's last day is held against."""
        return datetime.fromtimestamp(self.wall() // NS, UTC).date()

    def serial(self, topic: str) -> dict[str, Any]:
        """Return ``boot`` and the next ``seq`` of a topic."""
        self._seq[topic] += 1
        return {"boot": self.boot, "seq": self._seq[topic]}

    def live(self, topic: str, message: Message, ttl_s: float) -> None:
        """Publish a value that is soon replaced: newest wins, gone after its time to live."""
        self.outlet.publish(topic, message.encode(), retain=True, qos=0, expiry_s=ttl_s)

    def state(self, topic: str, message: Message) -> None:
        """Publish what stands until it is said otherwise."""
        self.outlet.publish(topic, message.encode(), retain=True, qos=1, expiry_s=None)

    def news(self, topic: str, message: Message) -> None:
        """Publish what happened once."""
        self.outlet.publish(topic, message.encode(), retain=False, qos=1, expiry_s=None)

    def clear(self, topic: str) -> None:
        """Take back what stood."""
        self.outlet.publish(topic, b"", retain=True, qos=1, expiry_s=None)
