"""What a display beside a vehicle hears of its bay, and how it asks for things: by MQTT alone."""

import asyncio
import contextlib
import json
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from typing import Any

from ingest.core.channels import Channel
from ingest.core.errors import OutputError
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.axle import AxleResult
from ingest.payload.base import Message, PayloadError
from ingest.payload.cmd import Reply, SweepBegin, read_command
from ingest.payload.evt import Event
from ingest.payload.head import HeadStatus, Reading
from ingest.payload.job import JobLine
from ingest.payload.runout import Runout
from ingest.payload.schemas import TOPICS
from ingest.payload.sweep import Sweep
from ingest.payload.topics import Topics

READINGS = frozenset(channel.value for channel in Channel)
LOOK_S = 1.0
"""How often is looked whether to wait on, where nothing is heard."""
SILENT_S = 2.0
"""Readings come at least so often."""
IN_TIME_S = 0.25
"""A service that is no later than this is in time."""
LATE_FOR_S = 30.0
"""For so long it counts that the service was late."""
MOST = 6.0
"""So many times as long as usual is waited at most: what is later than that does not come."""


MOST_UNREAD = 20
"""On so many topics a message that cannot be read is told."""


class StoryError(Exception):
    """The alignment could not go on; the text says at which step."""


class Declined(StoryError):
    """The bay declined what was asked for; ``code`` is that of its reply."""

    def __init__(self, asked: str, code: str, text: str) -> None:
        super().__init__(f"{asked}: {code}: {text}")
        self.code = code
        self.text = text


class NotInTime(StoryError):
    """What was waited for did not come."""


class GoneOn(StoryError):
    """The job is not at the task any more that hands were at."""


class Lateness:
    """How late a service is: what a busy machine makes of it. Times of the caller's clock, s."""

    def __init__(self) -> None:
        self._late: deque[tuple[float, float]] = deque()
        self._heard_s: float | None = None

    def hear(self, now_s: float, late_s: float) -> None:
        """Take note of a reading that was heard so long after it was taken."""
        self._heard_s = now_s
        while self._late and self._late[-1][1] <= late_s:
            self._late.pop()
        self._late.append((now_s, late_s))

    def late_s(self, now_s: float) -> float:
        """Return the latest that it was lately; one that is silent is at least so late."""
        while self._late and now_s - self._late[0][0] > LATE_FOR_S:
            self._late.popleft()
        silent_s = 0.0 if self._heard_s is None else now_s - self._heard_s - SILENT_S
        return max(silent_s, self._late[0][1] if self._late else 0.0, 0.0)

    def patience(self, now_s: float) -> float:
        """Return how many times as long as usual a person beside it should wait."""
        return min(MOST, max(1.0, self.late_s(now_s) / IN_TIME_S))


class Ears:
    """Hears all that a bay publishes.

    ``say`` gets a line where more has to be waited for than usual. ``wall_ns``: the clock that
    messages are stamped by.
    """

    def __init__(
        self,
        broker: BrokerSettings,
        topics: Topics,
        say: Callable[[str], None] = lambda _text: None,
        *,
        wall_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self._wall_ns = wall_ns
        self._topics = topics
        self._say = say
        self._said = False
        self._unread: set[str] = set()
        self._lateness = Lateness()
        filters = [f"{topics.root}/#"]
        self._listener = Listener(broker, topics, filters, self._hear, patience=self._patience)
        self._news = asyncio.Event()
        self.results: dict[str, AxleResult] = {}
        """The newest of each, by topic below the bay."""
        self.statuses: dict[str, HeadStatus] = {}
        self.pressed: dict[str, str] = {}
        """What became of the last press of each head's button."""
        self.job: dict[str, dict[str, Any]] = {}
        """What was said of the job, by the last word of the topic."""
        self.runouts: dict[str, str] = {}
        """How far each head's run-out has come, by head; empty where it was taken back."""
        self.sweeps: dict[str, dict[str, Any]] = {}
        """What was said last of a steering sweep, by head."""
        self.to_stops: dict[int, bool] = {}
        """By axle, whether the sweep that was asked for last goes to the stops."""
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
        begun_s = _now_s()
        while not holds():
            self._news.clear()
            waited_s = _now_s() - begun_s
            if waited_s >= within_s and waited_s >= within_s * self._patience():
                raise NotInTime(f"not within {waited_s:.0f} s: {what}")
            with contextlib.suppress(TimeoutError):
                left_s = within_s - waited_s
                async with asyncio.timeout(left_s if left_s > 0.0 else min(LOOK_S, within_s)):
                    await self._news.wait()

    def sweeping(self, axle: int) -> str:
        """Return the name of the sweep of an axle that is being collected; "" where none is."""
        told = [each for each in self.sweeps.values() if each["axle"] == axle]
        return next((str(each["id"]) for each in told if each["state"] == "sweeping"), "")

    @property
    def late_s(self) -> float:
        """How late the service is: so much longer hands wait with what it has to see first."""
        return min(self._lateness.late_s(_now_s()), MOST * IN_TIME_S)

    def _patience(self) -> float:
        now_s = _now_s()
        found = self._lateness.patience(now_s)
        if found > 1.0 and not self._said:
            self._said = True
            late_s = self._lateness.late_s(now_s)
            self._say(
                f"the machine is busy: readings are heard {late_s:.1f} s late; waits are up to "
                f"{MOST:.0f} times as long"
            )
        return found

    async def ask(self, command: str, /, **fields: object) -> Reply:
        """Ask for something, and be told that it was done."""
        asked = " ".join([command, *map(str, fields.values())])
        try:
            reply = await self._listener.ask(command, **fields)
        except TimeoutError as error:
            raise StoryError(f"no reply to {asked}") from error
        if not reply.ok:
            raise Declined(asked, reply.code, reply.text)
        return reply

    def _hear(self, topic: str, payload: bytes, retained: bool) -> None:
        below = topic.removeprefix(f"{self._topics.root}/")
        try:
            self._take(below, below.split("/"), payload, retained)
        except PayloadError as error:
            if topic not in self._unread and len(self._unread) < MOST_UNREAD:
                self._unread.add(topic)  # once is enough: whoever publishes it may do so for hours
                self._say(f"a message on {topic[:120]} cannot be read and is left out: {error}")
            return
        self._news.set()

    def _take(self, below: str, place: list[str], payload: bytes, retained: bool) -> None:
        match place:
            case ["job", leaf]:
                _, model = TOPICS.get(f"job/{leaf}", ("", JobLine))
                self.job[leaf] = _read(model, payload) if payload else {}
                if leaf == "live" and payload:
                    live = self.job[leaf]
                    self.late_ms.append(self._wall_ns() * 1e-6 - live["ms"] - live["lag_ms"])
            case ["head", _, leaf] if payload and leaf in READINGS and not retained:
                read = Reading.decode(payload)
                late_s = self._wall_ns() * 1e-9 - (read.ms + read.lag_ms) * 1e-3
                self._lateness.hear(_now_s(), late_s)
            case ["head", name, "sweep"] if not retained:
                self.sweeps[name] = _read(Sweep, payload) if payload else {"axle": 0}
            case ["head", name, "runout"]:
                self.runouts[name] = Runout.decode(payload).state if payload else ""
            case ["cmd", "sweep-begin"]:
                asked = read_command("sweep-begin", payload)
                if isinstance(asked, SweepBegin):
                    self.to_stops[asked.axle] = asked.stops
            case ["axle" | "vehicle", *_] if payload:
                self.results[below] = AxleResult.decode(payload)
            case ["head", name, "status"] if payload:
                self.statuses[name] = HeadStatus.decode(payload)
            case ["evt", kind] if payload and kind != "job":
                event = Event.decode(payload)
                self.pressed[event.head or ""] = event.kind


def _read(model: type[Message], payload: bytes) -> dict[str, Any]:
    """Return what a message says, as it came. Raises ``PayloadError`` where it is none of those."""
    model.decode(payload)
    found: dict[str, Any] = json.loads(payload)
    return found


def _now_s() -> float:
    """Return the time of the event loop that waits here, s."""
    return asyncio.get_running_loop().time()
