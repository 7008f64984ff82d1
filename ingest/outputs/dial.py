"""The part of connecting that blocks: name look-up, TCP, TLS, and the files it needs."""

import socket
import ssl
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import MQTT_CLEAN_START_FIRST_ONLY, Client
from paho.mqtt.enums import MQTTProtocolVersion

from ingest.core.errors import OutputError
from ingest.outputs.properties import connect_properties
from ingest.outputs.settings import BrokerSettings, read_password, tls_context

SEND_BUFFER_BYTES = 64 * 1024
"""What the kernel may hold for a slow broker; more would only age there."""


def dial_in_thread(
    client: Client, settings: BrokerSettings, report: Callable[[OutputError | None], None]
) -> None:
    """Reach the broker and report what hindered it, or None. Nothing is said to it yet."""
    failure: OutputError | None = None
    try:
        _dial(client, settings)
    except OutputError as error:
        failure = error
    except (OSError, ValueError) as error:
        failure = OutputError(settings.where, _why(error), retryable=_passes(error))
    report(failure)


def tune_socket(_client: Client, _data: Any, sock: Any) -> None:
    """Send small packets at once, and keep no long queue in the kernel."""
    # Without TCP_NODELAY a small packet waits for the acknowledgement of the one before.
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)


def _dial(client: Client, settings: BrokerSettings) -> None:
    if settings.user is not None:
        client.username_pw_set(settings.user, read_password(settings))
    context = tls_context(settings)
    if context is not None:
        client.tls_set_context(context)
    client.connect_timeout = settings.connect_timeout_s
    is_5 = client.protocol is MQTTProtocolVersion.MQTTv5
    client.connect(
        settings.host,
        settings.port,
        keepalive=settings.keepalive_s,
        clean_start=True if is_5 else MQTT_CLEAN_START_FIRST_ONLY,
        properties=connect_properties() if is_5 else None,
    )


def _why(error: Exception) -> str:
    if isinstance(error, ssl.SSLError):
        return f"TLS: {error.reason or error}"
    if isinstance(error, TimeoutError):
        return "no answer"
    return getattr(error, "strerror", None) or str(error) or type(error).__name__


def _passes(error: Exception) -> bool:
    """Tell whether trying again can help: a certificate that does not match stays so."""
    return not isinstance(error, ssl.SSLCertVerificationError)
