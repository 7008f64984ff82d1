"""Where a replay's messages go: onto lines, or out by an outlet that comes later."""

import asyncio
from collections.abc import Callable

from ingest.outputs.mqtt import MqttOutlet
from ingest.payload.cmd import Request


class Silence:
    """An outlet that says nothing."""

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Say nothing."""

    def reply(self, request: Request, payload: bytes) -> None:
        """Answer nobody."""


class Lines(Silence):
    """An outlet that keeps a line a message. Who plays prints them: a full disk or a closed pipe
    is then no fault inside the workings."""

    def __init__(self) -> None:
        self._lines: list[str] = []

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Keep topic and payload."""
        self._lines.append(f"{topic} {payload.decode()}")

    def reply(self, request: Request, payload: bytes) -> None:
        """Keep the answer, with the topic it went to."""
        self._lines.append(f"{request.reply_topic or '-'} {payload.decode()}")

    def taken(self) -> list[str]:
        """Return what was kept since the last time."""
        taken, self._lines = self._lines, []
        return taken


class Late(Silence):
    """An outlet that there is only when its player has been made. It remembers the status, and
    keeps what is published until ``send``, so that no value of a replay overtakes another."""

    def __init__(self) -> None:
        self.outlet: MqttOutlet | None = None
        self.status = b""
        self._waiting: list[Callable[[MqttOutlet], None]] = []
        self._stands: set[str] = set()
        self._one_by_one = asyncio.Lock()

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Keep."""
        if topic.endswith("/svc/status"):
            self.status = payload
        if retain:
            (self._stands.add if payload else self._stands.discard)(topic)
        self._waiting.append(
            lambda outlet: outlet.publish(topic, payload, retain=retain, qos=qos, expiry_s=expiry_s)
        )

    def clear(self) -> None:
        """Take back all that stands, but for what the service says of itself."""
        for topic in sorted(self._stands):
            if not topic.endswith(("/svc/status", "/svc/meta")):
                self.publish(topic, b"", retain=True, qos=1, expiry_s=None)

    async def send(self) -> None:
        """Send what was kept, one after the other."""
        async with self._one_by_one:
            waiting, self._waiting = self._waiting, []
            for publish_to in waiting:
                if self.outlet is not None:
                    publish_to(self.outlet)
                    await self.outlet.drain()
