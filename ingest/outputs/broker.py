"""A broker inside this process, for a start without installing anything. Loopback only."""

import contextlib
import ipaddress
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from amqtt.broker import Broker
from amqtt.errors import BrokerError
from amqtt.mqtt.constants import QOS_0
from amqtt.session import Session

from ingest.core.errors import ConfigError, OutputError

log = logging.getLogger(__name__)

_LOGGERS = ("amqtt", "transitions")
_OF_PAGES = ("websockets.server",)
"""It logs a traceback for whatever knocks at its port and is no WebSocket."""
_FOREIGN = 1008
"""WebSocket's close code for what a rule forbids: RFC 6455, 7.4.1."""
_ANYBODY = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
"""The whole list of plugins: the default one logs every packet at half the speed."""


class _Broker(Broker):  # type: ignore[misc]
    """The library's broker without its leak, and without its waiting.

    Version 0.12.1 goes through the subscriptions of *all* clients when one connects, and
    sends the newcomer what is retained there, asked for or not. Only a client's own
    subscriptions count.

    It begins to look out for an acknowledgement after it has sent, so on a busy machine the
    answer can come too soon; then it waits 5 s for another, and with retained messages it
    serves that client nothing meanwhile. So it delivers at QoS 0 and says so in its SUBACK:
    on loopback nothing is lost while a connection lasts, and no session outlives it.

    (Private methods, so the version is pinned and tests hold it.)
    """

    async def add_subscription(self, subscription: tuple[str, int], session: Session) -> int:
        topic_filter, _ = subscription
        return int(await super().add_subscription((topic_filter, QOS_0), session))

    async def _publish_retained_messages_for_subscription(
        self, subscription: tuple[str, int], session: Session
    ) -> None:
        topic_filter, _ = subscription
        subscribers = self._subscriptions.get(topic_filter, [])
        if any(theirs.client_id == session.client_id for theirs, _ in subscribers):
            own = (topic_filter, QOS_0)
            await super()._publish_retained_messages_for_subscription(own, session)

    async def _broadcast_message(
        self,
        session: Session | None,
        topic: str | None,
        data: bytes | bytearray | None,
        force_qos: int | None = None,
    ) -> None:
        """Deliver a will as any other message; the library forces its own QoS on everybody."""
        await super()._broadcast_message(session, topic, data)

    async def ws_connected(self, websocket: Any, listener_name: str) -> None:
        """Turn pages of other sites away: a browser lets them through to any port of this machine.

        Whatever is no browser sends no origin, and could come over TCP as well.
        """
        origins = websocket.request.headers.get_all("Origin")
        if is_from_here(origins):
            await super().ws_connected(websocket, listener_name)
        else:
            log.warning("a page of %.80r was turned away; only pages of this machine", origins)
            await websocket.close(_FOREIGN, "only pages of this machine")


def is_from_here(origins: Iterable[str]) -> bool:
    """Tell whether all origins of a page are this machine, by its loopback name or address.

    A page opened from the disk says ``null``, as any site's page in a sandboxed frame does: nobody
    can tell the two apart, so that it has to be served.
    """
    return all(map(_is_served_here, origins))


def _is_served_here(origin: str) -> bool:
    try:
        parts = urlsplit(origin)
        host = parts.hostname or ""
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and _is_loopback(host)


@dataclass(frozen=True, slots=True)
class EmbeddedBrokerSettings:
    """Where to listen. Port 0 takes any free one. Raises ``ConfigError``.

    It speaks MQTT 3.1.1, lets anybody in and forgets everything at the end, so it listens on
    the loopback interface and nowhere else.
    """

    host: str = "127.0.0.1"
    port: int = 1883
    websocket_port: int | None = None

    def __post_init__(self) -> None:
        if not _is_loopback(self.host):
            allowed = "a loopback address; for other machines run a broker of its own"
            raise ConfigError("embedded broker", "host", self.host, allowed)
        for name in ("port", "websocket_port"):
            port = getattr(self, name)
            if port is not None and not 0 <= port < 65536:
                raise ConfigError("embedded broker", name, port, "0 to 65535")


class EmbeddedBroker:
    """Starts and stops the broker. Start it before, and stop it after, its clients."""

    def __init__(self, settings: EmbeddedBrokerSettings) -> None:
        self._settings = settings
        self._broker: _Broker | None = None
        self._quiet = contextlib.ExitStack()

    @property
    def port(self) -> int:
        """Where it listens for MQTT over TCP. Raises ``RuntimeError`` while it is stopped."""
        return self._port("default")

    @property
    def websocket_port(self) -> int:
        """Where it listens for MQTT over WebSocket; ``RuntimeError`` when it does not."""
        return self._port("ws")

    async def start(self) -> None:
        """Listen. Raises ``OutputError`` naming the ports when one cannot be had."""
        broker = _Broker({"listeners": self._listeners(), "plugins": _ANYBODY})
        try:
            with _no_louder_than(logging.CRITICAL):  # its failure is told by our exception
                await broker.start()
        except BrokerError as error:
            await _close_listeners(broker)
            raise OutputError(self._where(), _why(error), retryable=False) from error
        self._broker = broker
        self._quiet.enter_context(_no_louder_than(logging.ERROR))
        self._quiet.enter_context(_no_louder_than(logging.CRITICAL, _OF_PAGES))

    async def stop(self) -> None:
        """Close all connections and stop listening. Idempotent."""
        broker, self._broker = self._broker, None
        if broker is not None:
            await broker.shutdown()
        self._quiet.close()

    def _listeners(self) -> dict[str, dict[str, str]]:
        found = {"default": {"type": "tcp", "bind": self._bind(self._settings.port)}}
        if self._settings.websocket_port is not None:
            found["ws"] = {"type": "ws", "bind": self._bind(self._settings.websocket_port)}
        return found

    def _bind(self, port: int) -> str:
        host = self._settings.host
        return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"

    def _where(self) -> str:
        ports = [self._settings.port, self._settings.websocket_port]
        named = " and ".join(str(port) for port in ports if port is not None)
        return f"embedded broker on {self._settings.host}, port {named}"

    def _port(self, listener: str) -> int:
        server = self._broker._servers.get(listener) if self._broker is not None else None
        if server is None:
            raise RuntimeError(f"the embedded broker has no open listener {listener}")
        return int(next(iter(server.instance.sockets)).getsockname()[1])


async def _close_listeners(broker: _Broker) -> None:
    """Close what a half successful start has opened."""
    for server in broker._servers.values():
        await server.close_instance()


@contextlib.contextmanager
def _no_louder_than(level: int, names: Iterable[str] = _LOGGERS) -> Iterator[None]:
    """Hold back a library's log below ``level``, unless somebody set its level on purpose.

    It logs each connection and each state; what matters here is told by our own modules.
    """
    silenced = [log for log in map(logging.getLogger, names) if log.level == logging.NOTSET]
    for log in silenced:
        log.setLevel(level)
    try:
        yield
    finally:
        for log in silenced:
            log.setLevel(logging.NOTSET)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _why(error: BrokerError) -> str:
    cause = error.__cause__
    if isinstance(cause, OSError):
        why = (cause.strerror or str(cause)).lower()
        return f"cannot listen there: {why}; is another service running? choose another port"
    return str(error)
