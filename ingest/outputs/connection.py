"""One MQTT connection, from the first byte to the last, driven by the event loop alone."""

import asyncio
import contextlib
import functools
import socket
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.exception import MQTTException
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from ingest.core.errors import OutputError
from ingest.outputs.answers import Ending, Unanswered, check_accepted, ending_of
from ingest.outputs.dial import dial_in_thread, tune_socket
from ingest.outputs.outbox import Outgoing
from ingest.outputs.properties import (
    publish_properties,
    reply_properties,
    whole_seconds,
    will_properties,
)
from ingest.outputs.settings import BrokerSettings

_HEADERS_BYTES = 48
"""Room for what a packet holds beside topic, payload and correlation data."""


@dataclass(frozen=True, slots=True)
class Will:
    """What the broker says when the connection dies."""

    topic: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Handlers:
    """Who is told what. None of them may raise or take long."""

    message: Callable[[MQTTMessage], None]
    acknowledged: Callable[[int, bool], None]
    """The message id, and whether the broker accepted the message."""
    writable: Callable[[], None]
    """What was queued has left."""


class Connection:
    """Opens once, serves until it ends, is thrown away.

    A client library thread runs only while the connection opens (name look-up, TCP, TLS);
    from then on all reading and writing is done by the event loop.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        client_id: str,
        version: MQTTProtocolVersion,
        will: Will,
        handlers: Handlers,
    ) -> None:
        self._settings = settings
        self._version = version
        self._will = will
        self._handlers = handlers
        self._loop = asyncio.get_running_loop()
        self._opened: asyncio.Future[None] = self._loop.create_future()
        self._accepted: asyncio.Future[ReasonCode | None] = self._loop.create_future()
        self._ended: asyncio.Future[Ending] = self._loop.create_future()
        self._attached: socket.socket | None = None
        self._writing = False
        self.receive_maximum = 65535
        self.packet_limit: int | None = None
        """The largest packet that the broker takes, in bytes; None where it sets no limit."""
        self._client = self._make_client(client_id)

    def _make_client(self, client_id: str) -> Client:
        is_5 = self._version is MQTTProtocolVersion.MQTTv5
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=None if is_5 else True,
            protocol=self._version,
            reconnect_on_failure=False,
        )
        client.will_set(
            self._will.topic,
            self._will.payload,
            qos=1,
            retain=True,
            properties=will_properties() if is_5 else None,
        )
        client.max_inflight_messages_set(0)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.on_socket_open = tune_socket
        client.on_socket_close = self._on_socket_close
        client.on_socket_register_write = self._leave_writing_to_us
        return client

    async def open(self) -> None:
        """Connect and be accepted, within the deadline. Raises ``OutputError``."""
        dial = functools.partial(dial_in_thread, self._client, self._settings, self._report)
        thread = threading.Thread(target=dial, name="mqtt dial", daemon=True)
        where = self._settings.where
        try:
            async with asyncio.timeout(self._settings.connect_timeout_s):
                thread.start()
                await self._opened
                self._attach()
                code = await self._accepted
        except TimeoutError as error:
            self.abort()
            seconds = self._settings.connect_timeout_s
            kind = Unanswered if reached(self._opened) else OutputError
            raise kind(where, f"no answer within {seconds:g} s") from error
        except BaseException:
            self.abort()
            raise
        try:
            check_accepted(self._settings.where, code)
        except OutputError:
            self.abort()
            raise

    def send(self, message: Outgoing) -> int | None:
        """Queue one message; return its id while it waits for an acknowledgement, else None."""
        properties = None
        if self._version is MQTTProtocolVersion.MQTTv5:
            expiry_s = whole_seconds(message.expiry_s)
            properties = (
                publish_properties(expiry_s)
                if message.correlation is None
                else reply_properties(expiry_s, message.correlation)
            )
        info = self._client.publish(
            message.topic, message.payload, message.qos, message.retain, properties
        )
        return info.mid if message.qos > 0 else None

    def takes(self, message: Outgoing) -> bool:
        """Tell whether the broker takes a message of this size, as far as it said."""
        if self.packet_limit is None:
            return True
        size = len(message.topic) + len(message.payload) + len(message.correlation or b"")
        return size + _HEADERS_BYTES <= self.packet_limit

    def subscribe(self, topic_filter: str) -> None:
        """Ask for messages, once each.

        A session does not outlive its connection, on which nothing is lost: acknowledging
        each command would only give a slow broker something to wait for.
        """
        self._client.subscribe(topic_filter, qos=0)

    def flush(self) -> None:
        """Write what the socket takes now; the rest follows by itself."""
        self._client.loop_write()
        if self._client.want_write() and self._attached is not None and not self._writing:
            self._writing = True
            self._loop.add_writer(self._attached, self._write_rest)

    @property
    def congested(self) -> bool:
        """Whether the socket took less than it was given."""
        return self._writing

    @property
    def ended(self) -> asyncio.Future[Ending]:
        """Done when the connection is over."""
        return self._ended

    def tick(self) -> None:
        """Keep alive, and notice a broker that does not answer. To be called each second."""
        self._client.loop_misc()
        self.flush()

    async def close(self, deadline_s: float) -> None:
        """Say goodbye (no will is published then) and close, within the deadline."""
        self._client.disconnect()
        self.flush()
        await asyncio.wait({self._ended}, timeout=deadline_s)
        self.abort()

    def abort(self) -> None:
        """Drop the connection now. Idempotent."""
        sock = self._client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)  # type: ignore[attr-defined]
            self._end(Ending("dropped by us"))
            self._read()
        self._end(Ending("dropped by us"))

    def _report(self, failure: OutputError | None) -> None:
        """Come back from the thread, if there is still somewhere to come back to."""
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(self._reached, failure)

    def _reached(self, failure: OutputError | None) -> None:
        if self._opened.cancelled() or self._ended.done():
            self.abort()
        elif failure is None:
            self._opened.set_result(None)
        else:
            self._opened.set_exception(failure)

    def _attach(self) -> None:
        sock = self._client.socket()
        assert isinstance(sock, socket.socket)
        self._attached = sock
        self._loop.add_reader(sock, self._read)
        self.flush()

    def _read(self) -> None:
        try:
            self._client.loop_read()
            # TLS may hold decoded bytes that the event loop cannot see.
            while isinstance(self._attached, ssl.SSLSocket) and self._attached.pending():
                self._client.loop_read()
            self.flush()
        except MQTTException as error:
            self._end(Ending(f"the broker sent what is not MQTT: {error}"))
            self.abort()

    def _leave_writing_to_us(self, _client: Client, _data: Any, _sock: Any) -> None:
        """Keep the library from writing at each packet: ``flush`` follows in every case."""

    def _write_rest(self) -> None:
        self._client.loop_write()
        if self._attached is not None and not self._client.want_write():
            self._writing = False
            self._loop.remove_writer(self._attached)
            self._handlers.writable()

    def _on_socket_close(self, _client: Client, _data: Any, _sock: Any) -> None:
        if self._attached is not None:
            self._loop.remove_reader(self._attached)
            self._loop.remove_writer(self._attached)
            self._attached = None

    def _on_connect(
        self, _c: Client, _d: Any, _flags: ConnectFlags, code: ReasonCode, props: Properties | None
    ) -> None:
        self.receive_maximum = getattr(props, "ReceiveMaximum", self.receive_maximum)
        self.packet_limit = getattr(props, "MaximumPacketSize", None)
        if not self._accepted.done():
            self._accepted.set_result(code)

    def _on_disconnect(
        self, _c: Client, _d: Any, flags: DisconnectFlags, code: ReasonCode, _props: Any
    ) -> None:
        self._end(ending_of(code, by_broker=flags.is_disconnect_packet_from_server))

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        self._handlers.message(message)

    def _on_publish(
        self, _client: Client, _data: Any, mid: int, code: ReasonCode, _props: Any
    ) -> None:
        self._handlers.acknowledged(mid, not code.is_failure)

    def _end(self, ending: Ending) -> None:
        if self._ended.done():
            return
        self._ended.set_result(ending)
        if not self._opened.done():
            self._opened.set_exception(OutputError(self._settings.where, ending.reason))
        if not self._accepted.done():
            self._accepted.set_result(None)


def reached(opened: asyncio.Future[None]) -> bool:
    """Tell whether the broker's port was opened."""
    return opened.done() and not opened.cancelled() and opened.exception() is None
