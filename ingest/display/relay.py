"""Carries MQTT between a page's WebSocket and the broker's port, byte for byte.

A browser can speak MQTT over WebSocket alone. Through this relay the page needs no second port,
every broker will do, and the page's own server says who may come: a page of another site, which a
browser would let through to any WebSocket of this machine, is turned away by its origin.
"""

import contextlib
import socket
import threading
from collections.abc import Callable
from http import HTTPStatus

from websockets.exceptions import InvalidState
from websockets.frames import Opcode
from websockets.http11 import Request
from websockets.server import ServerProtocol
from websockets.typing import Origin, Subprotocol

Dial = Callable[[], socket.socket]
"""Opens a connection to the broker. Raises ``OSError``."""

MOST_FRAME = 16 * 1024
"""Bytes a page may send at once: a request has a kilobyte."""

CHUNK = 16 * 1024
SILENT_S = 60.0
"""A page that says nothing for so long is gone: it pings twice a second."""
STUCK_S = 10.0
"""A page that takes nothing for so long is let go."""

_DATA = (Opcode.BINARY, Opcode.CONT)


class Relay:
    """One page's way to the broker, in the thread of its request and one more."""

    def __init__(self, page: socket.socket, dial: Dial) -> None:
        self._page = page
        self._dial = dial
        self._lock = threading.Lock()
        self._broker: socket.socket | None = None

    def run(self, asked: bytes, origin: str) -> None:
        """Shake hands and carry until one side goes. Never raises for a peer's trouble.

        Args: asked: the request as it came, its header lines and the empty one.
        """
        protocol = ServerProtocol(
            origins=[Origin(origin)], subprotocols=[Subprotocol("mqtt")], max_size=MOST_FRAME
        )
        protocol.receive_data(asked)
        request = next(iter(protocol.events_received()), None)
        if not isinstance(request, Request):
            return
        response = protocol.accept(request)
        with contextlib.suppress(OSError):
            if response.status_code == HTTPStatus.SWITCHING_PROTOCOLS:
                try:
                    self._broker = self._dial()
                except OSError:
                    response = protocol.reject(HTTPStatus.BAD_GATEWAY, "The broker is not there\n")
            protocol.send_response(response)
            self._flush(protocol)
            if self._broker is not None:
                self._carry(protocol, self._broker)
        self.close()

    def close(self) -> None:
        """Hang up on both sides. Idempotent, and safe from any thread."""
        for each in (self._page, self._broker):
            if each is not None:
                with contextlib.suppress(OSError):
                    each.shutdown(socket.SHUT_RDWR)
                each.close()

    def _carry(self, protocol: ServerProtocol, broker: socket.socket) -> None:
        back = threading.Thread(
            target=self._carry_back, args=(protocol, broker), name="relay", daemon=True
        )
        back.start()
        self._page.settimeout(SILENT_S)
        while data := self._page.recv(CHUNK):
            with self._lock:
                protocol.receive_data(data)
                events = protocol.events_received()
                self._flush(protocol)
            for event in events:
                if getattr(event, "opcode", None) in _DATA:
                    broker.sendall(event.data)  # type: ignore[union-attr]
                elif getattr(event, "opcode", None) in (Opcode.TEXT, Opcode.CLOSE):
                    return
            if protocol.close_expected():
                return

    def _carry_back(self, protocol: ServerProtocol, broker: socket.socket) -> None:
        with contextlib.suppress(OSError, InvalidState):  # the page has just said goodbye
            while data := broker.recv(CHUNK):
                with self._lock:
                    protocol.send_binary(data)
                    self._flush(protocol)
        self.close()

    def _flush(self, protocol: ServerProtocol) -> None:
        for piece in protocol.data_to_send():
            if piece:
                self._page.sendall(piece)
