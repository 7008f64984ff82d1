"""The outlet to an MQTT broker: connects, says what is so, reconnects, and says it again."""

import asyncio
import logging
from typing import Any, Protocol

from paho.mqtt.client import MQTTMessage

from ingest.core.errors import OutputError
from ingest.core.ids import MonotonicNs
from ingest.core.ports import MonotonicClock, WallClock
from ingest.core.units import NS
from ingest.outputs.answers import Ending, Endings
from ingest.outputs.broker_state import BrokerCondition, StateTeller
from ingest.outputs.connection import Connection, Handlers, Will
from ingest.outputs.inbox import Inbox
from ingest.outputs.opening import Opener
from ingest.outputs.outbox import OutboxCounters, Outgoing
from ingest.outputs.requests import InboxCounters
from ingest.outputs.sender import Sender, SenderCounters
from ingest.outputs.settings import BrokerSettings
from ingest.outputs.voice import Voice
from ingest.payload.cmd import Request
from ingest.payload.svc import ServiceWill
from ingest.payload.topics import Topics

log = logging.getLogger(__name__)


class Patience(Protocol):
    """How long to wait before trying again."""

    def note_good(self, now_ns: MonotonicNs) -> None:
        """Take note that the connection serves."""
        ...

    def note_failure(self, *, retryable: bool = True) -> float:
        """Take note of a failure; return the seconds to wait, never 0."""
        ...


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
        self._client_id = settings.client_id or f"levelhead-{topics.bay}-{voice.boot}"
        self._will = Will(topics.status, ServiceWill(boot=voice.boot).encode())
        self._sender = Sender(clock)
        self._inbox = Inbox(topics, self._sender, voice.on_request, clock, wall)
        handlers = Handlers(self._on_message, self._sender.acknowledged, self._sender.plan)
        self._opener = Opener(settings, self._client_id, self._will, handlers)
        self._endings = Endings()
        self._stopping = asyncio.Event()
        self._finished = asyncio.Event()
        self._state = StateTeller(voice.on_state)
        self.connections = 0
        """How often a broker has accepted us since the start."""

    @property
    def inbox(self) -> InboxCounters:
        """What came in on the command topics since the start."""
        return self._inbox.counters

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
        self._inbox.reply(request, payload)

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
        self._state.tell(BrokerCondition.STOPPED, "stopped")

    async def stop(self) -> None:
        """Send what must not be lost, say that the service stopped, and disconnect.

        Returns when ``run`` has ended, or when the deadline of the settings is over; then
        the caller cancels ``run``.
        """
        self._stopping.set()
        self._opener.abort()
        tries_s = self._settings.stop_timeout_s
        try:
            await asyncio.wait_for(self._finished.wait(), tries_s)
        except TimeoutError:
            log.warning("%s: did not close within %g s", self._settings.where, tries_s)

    async def _attempt(self, stopping: "asyncio.Task[Any]") -> float:
        """Connect once and serve for as long as it lasts; return the seconds to wait then."""
        try:
            connection = await self._opener.open()
        except OutputError as error:
            if not self._stopping.is_set():
                refused = not error.retryable
                self._state.tell(
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
        for each in self._topics.commands:
            connection.subscribe(each)
        connection.subscribe(self._topics.status)
        self._sender.attach(connection, self._birth(), self._topics.is_meta)
        text = f"{self._settings.where}: connected, MQTT {self._opener.version}"
        self._state.tell(BrokerCondition.CONNECTED, text)

    def _birth(self) -> Outgoing:
        return Outgoing(self._topics.status, self._voice.birth(), True, 1, None, self._clock())

    def _judge(self, ending: Ending, lasted_s: float) -> float:
        if self._stopping.is_set():
            return 0.0
        if self._endings.mean_id_in_use(ending, lasted_s):
            text = f"dropped after it was accepted: is client id {self._client_id} in use?"
            self._state.tell(BrokerCondition.ID_IN_USE, f"{self._settings.where}: {text}")
            return self._patience.note_failure(retryable=False)
        self._state.tell(BrokerCondition.LOST, f"{self._settings.where}: {ending.reason}")
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
        else:
            self._inbox.take(message)

    def _on_own_status(self, message: MQTTMessage) -> None:
        """Contradict the will of an earlier connection of ours that comes late."""
        is_late_will = message.payload == self._will.payload and not message.retain
        if is_late_will and not self._stopping.is_set():
            self._sender.put(self._birth())
