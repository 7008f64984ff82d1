"""How a display's pages reach the broker of a bay."""

import ipaddress
import socket

from ingest.display.desk import Source
from ingest.display.server import LOOPBACK
from ingest.outputs.settings import BrokerSettings, tls_context

DIAL_S = 3.0


def source_of(bay: str, broker: BrokerSettings, *, at_home: bool) -> Source:
    """Return the way to a bay. Raises ``OutputError`` where its certificate files cannot be used.

    Pages log in by themselves: name and password of ``broker`` are not used for them.

    Args: at_home: whoever reaches the page may ask for things, where the broker lets them.
    """
    context = tls_context(broker)

    def dial() -> socket.socket:
        connection = socket.create_connection((broker.host, broker.port), DIAL_S)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if context is not None:
            connection = context.wrap_socket(connection, server_hostname=broker.host)
        connection.settimeout(None)
        return connection

    return Source(bay, dial, at_home)


def is_here(host: str) -> bool:
    """Tell whether a host is this machine by its loopback name or address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host in LOOPBACK
