"""The outlet to an MQTT broker: connects, says what is so, reconnects, and says it again."""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from paho.mqtt.client import MQTTMessage
from paho.mqtt.enums import MQTTProtocolVersion

from ingest.core.errors import OutputError
from ingest.core.ids import MonotonicNs
from ingest.core.ports import MonotonicClock, WallClock
from ingest.core.units import NS
from ingest.outputs.answers import Ending, Unanswered, VersionRefused
from ingest.outputs.broker_state import BrokerCondition, BrokerState
from ingest.outputs.connection import Connection, Handlers, Will
from ingest.outputs.outbox import OutboxCounters, Outgoing
from ingest.outputs.requests import InboxCounters, Refusal, read_request
from ingest.outputs.sender import Sender, SenderCounters
from ingest.outputs.settings import BrokerSettings
from ingest.payload.cmd import Reply, Request
from ingest.payload.stamp import rfc3339
from ingest.payload.svc import ServiceWill
from ingest.payload.topics import Topics

log = logging.getLogger(__name__)

REPLY_EXPIRY_S = 5.0
"""After this time the asker has given up."""

YOUNG_S = 2.0
YOUNG_ENDINGS = 3
"""So many connections in a row, each ended within ``YOUNG_S`` of being accepted, mean that
another client has our id: each of the two throws the other out."""


class Patience(Protocol):
    """How long to wait before trying again."""

    def note_good(self, now_ns: MonotonicNs) -> None:
        """Take note that the connection serves."""
        ...

    def note_failure(self, *, retryable: bool = True) -> float:
        """Take note of a failure; return the seconds to wait, never 0."""
        ...


@dataclass(frozen=True, slots=True)
class Voice:
    """What the outlet says of the service by itself, and whom it tells.

    ``birth`` returns the present ``svc/status`` payload; it is asked at each connection, and
    sent after all descriptions. ``farewell`` returns that of a clean stop. ``on_request``
    gets each command; an exception out of it reaches the event loop's handler and disturbs
    nothing. ``on_state`` is called once per change.
    """

    boot: str
    birth: Callable[[], bytes]
    farewell: Callable[[], bytes]
    on_request: Callable[[Request], None]
    on_state: Callable[[BrokerState], None]


class MqttOutlet:
    """Publishes for one bay, and hands its commands on. Satisfies ``Outlet``.

    ``publish`` and ``reply`` only take note; all input and output is done by ``run``, which
    the caller owns as a task. Nothing here raises for a broker's trouble.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        topics: Topics,
        voice: Voice,
        *,
        patience: Patience,
        clock: MonotonicClock,
        wall: WallClock,
    ) -> None:
        self._settings = settings
        self._topics = topics
        self._voice = voice
        self._patience = patience
        self._clock = clock
        self._wall = wall
        self._client_id = settings.client_id or f"levelhead-{topics.bay}-{voice.boot}"
        self._will = Will(topics.status, ServiceWill(boot=voice.boot).encode())
        is_5 = settings.mqtt_5
        self._version = MQTTProtocolVersion.MQTTv5 if is_5 else MQTTProtocolVersion.MQTTv311
        self._has_served = False
        self._sender = Sender(clock)
        self._opening: Connection | None = None
        self._stopping = asyncio.Event()
        self._finished = asyncio.Event()
        self._young_endings = 0
        self._state: BrokerState | None = None
        self.connections = 0
        """How often a broker has accepted us since the start."""
        self.inbox = InboxCounters()

    @property
    def sent(self) -> SenderCounters:
        """What left, what was accepted, and what was dropped, by reason."""
        return self._sender.counters

    @property
    def kept(self) -> OutboxCounters:
        """What never left, by reason."""
        return self._sender.outbox_counters

    @property
    def connected(self) -> bool:
        return self._sender.connected

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Take note of one message. An empty payload clears a retained topic.

        While the broker is away only the newest live value (QoS 0) of a topic is kept, and
        that for no longer than its expiry; results (QoS 1, retained) are kept, the newest of
        each topic; events (QoS 1, not retained) are kept in a bounded queue.
        """
        self._sender.put(Outgoing(topic, payload, retain, qos, expiry_s, self._clock()))

    def reply(self, request: Request, payload: bytes) -> None:
        """Answer a request, where it said how to."""
        self._answer(request.reply_topic, payload, request.correlation)

    async def drain(self) -> None:
        """Wait until all that was given has left. Who waits after each message loses none to a
        newer one of its topic. Without a broker it waits for one, for as long as ``run`` runs."""
        await self._sender.drain()

    async def run(self) -> None:
        """Serve until ``stop``. Cancelling drops the connection, and the will is published."""
        stopping = asyncio.create_task(self._stopping.wait(), name="outlet stopping")
        try:
            while not self._stopping.is_set():
                wait_s = await self._attempt(stopping)
                await asyncio.wait({stopping}, timeout=wait_s)
        finally:
            stopping.cancel()
            self._finished.set()
        self._tell(BrokerCondition.STOPPED, "stopped")

    async def stop(self) -> None:
        """Send what must not be lost, say that the service stopped, and disconnect.

        Returns when ``run`` has ended, or when the deadline of the settings is over; then
        the caller cancels ``run``.
        """
        self._stopping.set()
        if self._opening is not None:
            self._opening.abort()
        tries_s = self._settings.stop_timeout_s
        try:
            await asyncio.wait_for(self._finished.wait(), tries_s)
        except TimeoutError:
            log.warning("%s: did not close within %g s", self._settings.where, tries_s)

    async def _attempt(self, stopping: "asyncio.Task[Any]") -> float:
        """Connect once and serve for as long as it lasts; return the seconds to wait then."""
        try:
            connection = await self._open()
        except OutputError as error:
            if not self._stopping.is_set():
                refused = not error.retryable
                self._tell(
                    BrokerCondition.REFUSED if refused else BrokerCondition.UNREACHABLE, str(error)
                )
            return self._patience.note_failure(retryable=error.retryable)
        began_ns = self._clock()
        try:
            ending = await self._serve(connection, stopping)
        finally:
            self._sender.detach()
            connection.abort()
        return self._judge(ending, (self._clock() - began_ns) / NS)

    async def _open(self) -> Connection:
        """Connect by the version that served before, or by 5 and, where that fails, by 3.1.1.

        Silence counts only against a version that never served: a broker may be busy.
        """
        try:
            return await self._open_as(self._version)
        except (VersionRefused, Unanswered) as error:
            may_be_busy = self._has_served and not isinstance(error, VersionRefused)
            is_oldest = self._version is MQTTProtocolVersion.MQTTv311
            if is_oldest or may_be_busy or self._stopping.is_set():
                raise
        older = await self._open_as(MQTTProtocolVersion.MQTTv311)
        self._version = MQTTProtocolVersion.MQTTv311
        return older

    async def _open_as(self, version: MQTTProtocolVersion) -> Connection:
        handlers = Handlers(self._on_message, self._sender.acknowledged, self._sender.plan)
        self._opening = Connection(self._settings, self._client_id, version, self._will, handlers)
        try:
            await self._opening.open()
            return self._opening
        finally:
            self._opening = None

    async def _serve(self, connection: Connection, stopping: "asyncio.Task[Any]") -> Ending:
        self._begin(connection)
        waits: set[asyncio.Future[Any]] = {connection.ended, stopping}
        while True:
            await asyncio.wait(waits, timeout=1.0, return_when=asyncio.FIRST_COMPLETED)
            if connection.ended.done():
                return connection.ended.result()
            if self._stopping.is_set():
                await self._say_goodbye(connection)
                return Ending("stopped")
            connection.tick()
            self._patience.note_good(self._clock())

    def _begin(self, connection: Connection) -> None:
        self.connections += 1
        self._has_served = True
        for each in self._topics.commands:
            connection.subscribe(each)
        connection.subscribe(self._topics.status)
        self._sender.attach(connection, self._birth(), self._topics.is_meta)
        version = "5" if self._version is MQTTProtocolVersion.MQTTv5 else "3.1.1"
        self._tell(BrokerCondition.CONNECTED, f"{self._settings.where}: connected, MQTT {version}")

    def _birth(self) -> Outgoing:
        return Outgoing(self._topics.status, self._voice.birth(), True, 1, None, self._clock())

    def _judge(self, ending: Ending, lasted_s: float) -> float:
        if self._stopping.is_set():
            return 0.0
        self._young_endings = self._young_endings + 1 if lasted_s < YOUNG_S else 0
        if ending.taken_over or self._young_endings >= YOUNG_ENDINGS:
            text = f"dropped after it was accepted: is client id {self._client_id} in use?"
            self._tell(BrokerCondition.ID_IN_USE, f"{self._settings.where}: {text}")
            return self._patience.note_failure(retryable=False)
        self._tell(BrokerCondition.LOST, f"{self._settings.where}: {ending.reason}")
        return self._patience.note_failure()

    async def _say_goodbye(self, connection: Connection) -> None:
        share_s = self._settings.stop_timeout_s / 3
        await self._sender.settle(share_s)
        farewell = self._voice.farewell()
        self.publish(self._topics.status, farewell, retain=True, qos=1, expiry_s=None)
        await self._sender.settle(share_s)
        await connection.close(share_s)

    def _on_message(self, message: MQTTMessage) -> None:
        if message.topic == self._topics.status:
            self._on_own_status(message)
            return
        asked = self._topics.asked(message.topic)
        if asked is None:
            return
        if message.retain:
            self.inbox.retained_commands += 1
            return
        response_topic = getattr(message.properties, "ResponseTopic", None)
        correlation = getattr(message.properties, "CorrelationData", None)
        payload = bytes(message.payload)
        found = read_request(self._topics, asked, payload, response_topic, correlation)
        if isinstance(found, Refusal):
            self._refuse(found)
            return
        self.inbox.commands += 1
        asyncio.get_running_loop().call_soon(self._voice.on_request, found)

    def _on_own_status(self, message: MQTTMessage) -> None:
        """Contradict the will of an earlier connection of ours that comes late."""
        is_late_will = message.payload == self._will.payload and not message.retain
        if is_late_will and not self._stopping.is_set():
            self._sender.put(self._birth())

    def _refuse(self, refusal: Refusal) -> None:
        self.inbox.bad_commands += 1
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

    def _tell(self, condition: BrokerCondition, text: str) -> None:
        state = BrokerState(condition, text)
        if state == self._state:
            return
        self._state = state
        calm = condition in (BrokerCondition.CONNECTED, BrokerCondition.STOPPED)
        log.log(logging.INFO if calm else logging.WARNING, "%s", text)
        self._voice.on_state(state)
