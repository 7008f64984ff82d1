"""How a display's pages reach the broker of a bay."""

import ipaddress
import logging
import secrets
import socket
import struct

from ingest.display.desk import Source
from ingest.display.relay import Dial
from ingest.display.server import LOOPBACK
from ingest.outputs.settings import BrokerSettings, tls_context

DIAL_S = 3.0
OPEN = (
    "the broker lets anybody in: pages of other machines are turned away until it asks for logins"
)

log = logging.getLogger(__name__)


def source_of(
    bay: str, broker: BrokerSettings, *, at_home: bool, elsewhere: bool = False
) -> Source:
    """Return the way to a bay. Raises ``OutputError`` where its certificate files cannot be used.

    Pages log in by themselves: name and password of ``broker`` are not used for them.

    Args:
        at_home: whoever reaches the page may ask for things, where the broker lets everybody in.
        elsewhere: other machines reach the page. Then a broker that asks nobody for a password is
            not reached through it: its own listener may well be for this machine alone.
    """
    context = tls_context(broker)

    def dial() -> socket.socket:
        connection = socket.create_connection((broker.host, broker.port), DIAL_S)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if context is not None:
            connection = context.wrap_socket(connection, server_hostname=broker.host)
        connection.settimeout(None)
        return connection

    return Source(bay, Guarded(dial) if elsewhere else dial, at_home)


def is_here(host: str) -> bool:
    """Tell whether a host is this machine by its loopback name or address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host in LOOPBACK


class Guarded:
    """Dials a broker that knows its users, and no other. Safe from any thread."""

    def __init__(self, dial: Dial) -> None:
        self._dial = dial
        self._asks = False

    def __call__(self) -> socket.socket:
        """Return a connection. Raises ``OSError``, also where anybody would be let in."""
        if not self._asks:
            if not turns_strangers_away(self._dial):
                log.warning("%s", OPEN)
                raise PermissionError(OPEN)
            self._asks = True
        return self._dial()


def turns_strangers_away(dial: Dial) -> bool:
    """Tell whether a broker refuses a user that it cannot know. Raises ``OSError``.

    MQTT 3.1.1, 3.1 and 3.2: a CONNECT with a drawn name and password, and its CONNACK.
    """
    name = f"guest-{secrets.token_hex(6)}".encode()
    told = b"".join(struct.pack(">H", len(each)) + each for each in (name, name, name))
    connect = b"\x00\x04MQTT\x04\xc2" + struct.pack(">H", 10) + told
    with dial() as connection:
        connection.settimeout(DIAL_S)
        connection.sendall(bytes([0x10, len(connect)]) + connect)
        answer = connection.makefile("rb").read(4)
    if len(answer) < 4 or answer[0] != 0x20:
        raise ConnectionError("no broker answers there")
    return answer[3] != 0
