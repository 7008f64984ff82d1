"""A client like any display's: subscribes, asks, hears. For the terminal and the demo."""

import asyncio
import json
import logging
import socket
import threading
import uuid
from collections.abc import Callable, Sequence
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from ingest.core.errors import OutputError
from ingest.outputs.dial import tune_socket
from ingest.outputs.settings import BrokerSettings, read_password, tls_context
from ingest.payload.base import PayloadError
from ingest.payload.cmd import Reply
from ingest.payload.topics import Topics, is_level

log = logging.getLogger(__name__)

OnMessage = Callable[[str, bytes, bool], None]
"""Gets topic, payload and whether it was retained, in the event loop."""

REPLY_S = 5.0
TRIES = 3


class Listener:
    """Subscribes to topics over MQTT 3.1.1, which every broker speaks, and sends commands.

    The library's own thread keeps the connection and comes back after a loss; messages are
    handed over in the event loop.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        topics: Topics,
        filters: Sequence[str],
        on_message: OnMessage,
        on_connection: Callable[[bool], None] = lambda _connected: None,
        patience: Callable[[], float] = lambda: 1.0,
    ) -> None:
        """``patience``: so many times as long as usual a reply is waited for, asked each time."""
        self._settings = settings
        self._topics = topics
        self._filters = list(filters)
        self._on_message = on_message
        self._on_connection = on_connection
        self._patience = patience
        self._name = f"listener-{uuid.uuid4().hex[:8]}"
        # Where there are permissions a user asks, and is answered, under their own name alone.
        self._user = settings.user if settings.user and is_level(settings.user) else None
        self._reply_topic = topics.reply(self._user or self._name)
        self._loop = asyncio.get_running_loop()
        self._replies: dict[str, asyncio.Future[Reply]] = {}
        self._answered = threading.Event()
        self._refused = ""
        self._client = self._make_client()

    def _make_client(self) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2, client_id=self._name, protocol=MQTTProtocolVersion.MQTTv311
        )
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_message = self._heard
        client.on_socket_open = tune_socket
        client.reconnect_delay_set(1, 10)
        return client

    async def start(self) -> None:
        """Connect. Raises ``OutputError`` where the broker cannot be reached, or lets nobody in."""
        await asyncio.to_thread(self._connect)

    def _connect(self) -> None:
        settings = self._settings
        if settings.user is not None:
            self._client.username_pw_set(settings.user, read_password(settings))
        context = tls_context(settings)
        if context is not None:
            self._client.tls_set_context(context)
        self._client.connect_timeout = settings.connect_timeout_s
        try:
            self._client.connect(settings.host, settings.port, settings.keepalive_s)
        except (OSError, socket.gaierror) as error:
            why = (error.strerror or str(error)).lower()
            raise OutputError(settings.where, f"{why}; is a broker running there?") from error
        self._client.loop_start()
        self._answered.wait(settings.connect_timeout_s)
        if self._refused:
            self._client.disconnect()
            self._client.loop_stop()
            raise OutputError(settings.where, f"{self._refused}; check user and password_file")

    async def stop(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)

    async def ask(self, name: str, /, **fields: Any) -> Reply:
        """Send a command and return the one reply. Raises ``TimeoutError`` without one.

        It is sent again where no reply comes: the same id asks for no second action.
        """
        mark, topic = f"c-{uuid.uuid4().hex[:8]}", self._topics.command(name, self._user)
        waiting: asyncio.Future[Reply] = self._loop.create_future()
        self._replies[mark] = waiting
        payload = json.dumps({"id": mark, "reply_to": self._reply_topic, **fields})
        try:
            tried = 0
            while tried < TRIES or tried < TRIES * self._patience():
                self._client.publish(topic, payload, qos=0)
                done, _ = await asyncio.wait({waiting}, timeout=REPLY_S)
                if done:
                    return waiting.result()
                tried += 1
            raise TimeoutError
        finally:
            del self._replies[mark]

    def _connected(
        self,
        client: Client,
        _user: Any,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._refused = str(reason).lower() if reason.is_failure else ""
        self._answered.set()
        if reason.is_failure:
            return
        client.subscribe([(each, 0) for each in [*self._filters, self._reply_topic]])
        self._loop.call_soon_threadsafe(self._on_connection, True)

    def _disconnected(self, *_: Any) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._on_connection, False)

    def _heard(self, _client: Client, _user: Any, message: MQTTMessage) -> None:
        self._loop.call_soon_threadsafe(self._hand_over, message)

    def _hand_over(self, message: MQTTMessage) -> None:
        if message.topic == self._reply_topic:
            try:
                reply = Reply.decode(bytes(message.payload))
            except PayloadError:
                return  # what cannot be read answers nothing: it is asked again
            waiting = self._replies.get(reply.id)
            if waiting is not None and not waiting.done():
                waiting.set_result(reply)
            return
        try:
            self._on_message(message.topic, bytes(message.payload), bool(message.retain))
        except Exception as error:  # anybody may publish: the next is heard, too
            why = f"{type(error).__name__}: {error}"
            log.warning(
                "a message on %.120r cannot be read and is left out (%.200r)", message.topic, why
            )
