"""What comes in on the command topics: handed on, or refused with an answer."""

import asyncio
from collections.abc import Callable

from paho.mqtt.client import MQTTMessage

from ingest.core.ports import MonotonicClock, WallClock
from ingest.outputs.outbox import Outgoing
from ingest.outputs.requests import InboxCounters, Refusal, read_request
from ingest.outputs.sender import Sender
from ingest.payload.cmd import Reply, Request
from ingest.payload.stamp import rfc3339
from ingest.payload.topics import Topics

REPLY_EXPIRY_S = 5.0
"""After this time the asker has given up."""


class Inbox:
    """Reads commands and answers them. ``on_request`` is called by the event loop, later."""

    def __init__(
        self,
        topics: Topics,
        sender: Sender,
        on_request: Callable[[Request], None],
        clock: MonotonicClock,
        wall: WallClock,
    ) -> None:
        self._topics = topics
        self._sender = sender
        self._on_request = on_request
        self._clock = clock
        self._wall = wall
        self.counters = InboxCounters()

    def take(self, message: MQTTMessage) -> None:
        """Hand a command on; what is none is left alone."""
        asked = self._topics.asked(message.topic)
        if asked is None:
            return
        if message.retain:
            self.counters.retained_commands += 1
            return
        response_topic = getattr(message.properties, "ResponseTopic", None)
        correlation = getattr(message.properties, "CorrelationData", None)
        payload = bytes(message.payload)
        found = read_request(self._topics, asked, payload, response_topic, correlation)
        if isinstance(found, Refusal):
            self._refuse(found)
            return
        self.counters.commands += 1
        asyncio.get_running_loop().call_soon(self._on_request, found)

    def reply(self, request: Request, payload: bytes) -> None:
        """Answer a request, where it said how to."""
        self._answer(request.reply_topic, payload, request.correlation)

    def _refuse(self, refusal: Refusal) -> None:
        self.counters.bad_commands += 1
        reply = Reply(
            t=rfc3339(self._wall()), id=refusal.id, ok=False, code=refusal.code, text=refusal.text
        )
        self._answer(refusal.reply_topic, reply.encode(), refusal.correlation)

    def _answer(self, topic: str | None, payload: bytes, correlation: bytes | None) -> None:
        if topic is not None:
            now_ns = self._clock()
            self._sender.put(
                Outgoing(topic, payload, False, 1, REPLY_EXPIRY_S, now_ns, correlation)
            )
