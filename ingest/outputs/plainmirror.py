"""Says readings and results again under ``val/``, as lines for clients that cannot read JSON.

It projects what is published and adds nothing. Its messages are never retained, and each is said
again every second: the libraries of small boards do not tell a client which message was retained,
and a service that died can take nothing back. So whoever hears nothing of a line for three seconds
knows nothing, and needs no other rule.
"""

from dataclasses import dataclass
from typing import Protocol

from ingest.core.ids import MonotonicNs
from ingest.core.ports import MonotonicClock, Outlet
from ingest.core.units import NS
from ingest.payload.axle import AxleResult
from ingest.payload.base import PayloadError
from ingest.payload.cmd import Request
from ingest.payload.head import HeadStatus, Reading
from ingest.payload.plain import plain
from ingest.payload.topics import RESERVED_HEAD_LEVELS, Topics

EVERY_S = 1.0
"""How often ``say_again`` is to be called."""

KNOWN_FOR_S = 3.0
"""So long a line is taken to hold without being said again."""


class Answering(Outlet, Protocol):
    """An outlet that also takes the answers to requests."""

    def reply(self, request: Request, payload: bytes) -> None: ...


@dataclass(slots=True)
class _Line:
    """What was said last on a topic. ``head`` None: it is a result."""

    said: Reading | AxleResult
    at_ns: MonotonicNs
    head: str | None


class PlainMirror:
    """An outlet before another one: hands all on, and says the plain lines beside it."""

    def __init__(self, outlet: Answering, topics: Topics, clock: MonotonicClock) -> None:
        self._outlet = outlet
        self._root = f"{topics.root}/"
        self._clock = clock
        self._lines: dict[str, _Line] = {}
        self._away: set[str] = set()

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Hand on; say the line, where the topic has one."""
        self._outlet.publish(topic, payload, retain=retain, qos=qos, expiry_s=expiry_s)
        match topic.removeprefix(self._root).split("/"):
            case ["head", head, "status"]:
                self._see(head, payload)
            case ["head", head, channel] if channel not in RESERVED_HEAD_LEVELS:
                self._take(topic, payload, Reading, head)
            case ["axle", _, _, _] | ["vehicle", _]:
                self._take(topic, payload, AxleResult, None)

    def reply(self, request: Request, payload: bytes) -> None:
        """Hand on."""
        self._outlet.reply(request, payload)

    def say_again(self) -> None:
        """Say every line, each as it holds now."""
        for topic, line in self._lines.items():
            self._say(topic, line)

    def _see(self, head: str, payload: bytes) -> None:
        """Take note whether a head is there. A status that cannot be read tells of none."""
        try:
            there = bool(payload) and HeadStatus.decode(payload).state != "offline"
        except PayloadError:
            there = False
        (self._away.discard if there else self._away.add)(head)
        for topic, line in self._lines.items():
            if line.head == head and not there:
                self._say(topic, line)

    def _take(
        self, topic: str, payload: bytes, model: type[Reading | AxleResult], head: str | None
    ) -> None:
        if not payload:
            line = self._lines.pop(topic, None)
            if line is not None:
                self._send(topic, plain(line.said, stale=True))
            return
        line = self._lines[topic] = _Line(model.decode(payload), self._clock(), head)
        self._say(topic, line)

    def _say(self, topic: str, line: _Line) -> None:
        old = line.said.ttl > 0 and self._clock() - line.at_ns > line.said.ttl * NS
        self._send(topic, plain(line.said, stale=old or line.head in self._away))

    def _send(self, topic: str, line: str) -> None:
        below = topic.removeprefix(self._root)
        self._outlet.publish(
            f"{self._root}val/{below}", line.encode(), retain=False, qos=0, expiry_s=KNOWN_FOR_S
        )
