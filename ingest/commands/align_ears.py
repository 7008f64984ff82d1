"""What a display beside a vehicle hears of its bay, and how it asks for things: by MQTT alone."""

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator, Callable
from typing import Any

from ingest.core.errors import OutputError
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.axle import AxleResult
from ingest.payload.base import PayloadError
from ingest.payload.cmd import Reply
from ingest.payload.evt import Event
from ingest.payload.head import HeadStatus
from ingest.payload.topics import Topics


class StoryError(Exception):
    """The alignment could not go on; the text says at which step."""


class Ears:
    """Hears all that a bay publishes."""

    def __init__(self, broker: BrokerSettings, topics: Topics) -> None:
        self._topics = topics
        self._listener = Listener(broker, topics, [f"{topics.root}/#"], self._hear)
        self._news = asyncio.Event()
        self.results: dict[str, AxleResult] = {}
        """The newest of each, by topic below the bay."""
        self.statuses: dict[str, HeadStatus] = {}
        self.pressed: dict[str, str] = {}
        """What became of the last press of each head's button."""
        self.job: dict[str, dict[str, Any]] = {}
        """What was said of the job, by the last word of the topic."""
        self.late_ms: list[float] = []
        """How long after its newest sample each live value was heard, the filters' delay apart."""

    @contextlib.asynccontextmanager
    async def listening(self) -> AsyncIterator[None]:
        """Listen while the block runs."""
        try:
            await self._listener.start()
            yield
        except OutputError as error:
            raise StoryError(str(error)) from error
        finally:
            await self._listener.stop()

    async def until(self, holds: Callable[[], bool], within_s: float, what: str) -> None:
        """Wait until something holds, looking again with each message."""
        try:
            async with asyncio.timeout(within_s):
                while not holds():
                    self._news.clear()
                    await self._news.wait()
        except TimeoutError as error:
            raise StoryError(f"not within {within_s:g} s: {what}") from error

    async def ask(self, command: str, /, **fields: object) -> Reply:
        """Ask for something, and be told that it was done."""
        try:
            reply = await self._listener.ask(command, **fields)
        except TimeoutError as error:
            raise StoryError(f"no reply to {command} {fields}") from error
        if not reply.ok:
            raise StoryError(f"{command} {fields}: {reply.code}: {reply.text}")
        return reply

    def _hear(self, topic: str, payload: bytes, retained: bool) -> None:
        below = topic.removeprefix(f"{self._topics.root}/")
        try:
            self._take(below, below.split("/"), payload)
        except PayloadError as error:
            raise StoryError(f"unreadable message on {topic}: {error}") from error
        self._news.set()

    def _take(self, below: str, place: list[str], payload: bytes) -> None:
        match place:
            case ["job", leaf]:
                self.job[leaf] = json.loads(payload) if payload else {}
                if leaf == "live" and payload:
                    live = self.job[leaf]
                    self.late_ms.append(time.time() * 1e3 - live["ms"] - live["lag_ms"])
            case ["axle" | "vehicle", *_] if payload:
                self.results[below] = AxleResult.decode(payload)
            case ["head", name, "status"] if payload:
                self.statuses[name] = HeadStatus.decode(payload)
            case ["evt", kind] if payload and kind != "job":
                event = Event.decode(payload)
                self.pressed[event.head or ""] = event.kind
