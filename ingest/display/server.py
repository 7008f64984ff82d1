"""Serves the page and streams what the service publishes to it, over HTTP on this machine.

Only loopback: there are no users and no encryption here. Whoever should see the page from
elsewhere comes through a tunnel or a proxy that checks who asks.
"""

import base64
import hashlib
import json
import logging
import os
import re
import socketserver
import sys
import threading
import time
from collections.abc import Iterable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from typing import Any

from ingest.core.errors import OutputError
from ingest.display.board import Board, Note

MOST_STREAMS = 32
"""Open event streams at a time; one page holds one."""

PACE_S = 0.05
"""Rest between two writes to one page: a burst goes out as one piece."""

BEAT_S = 2.0
"""Longest silence on a stream. The page takes a longer one for a lost connection."""

STUCK_S = 10.0
"""A client that takes nothing, or asks nothing, for so long is let go."""

_LOOPBACK = ("127.0.0.1", "localhost")
_LOCAL_NAME = re.compile(r"(localhost|127\.0\.0\.1|\[::1\])(:[0-9]{1,5})?", re.IGNORECASE)
"""A page of another site can make its own name point here; it then asks for that name."""

_log = logging.getLogger(__name__)


class PageServer:
    """The page at ``url`` and its stream of messages; threads of its own, never in the way."""

    def __init__(self, host: str = "127.0.0.1", port: int = 0) -> None:
        """Args: port: 0 for any free one."""
        self._host = host
        self._port = port
        self._board = Board()
        self._server: _Server | None = None
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        """Where the page is. With port 0 the real one is known after ``start``."""
        return f"http://{self._host}:{self._port}/"

    def start(self) -> None:
        """Serve from now on. Raises ``OutputError`` when the port cannot be had."""
        where = f"page on {self._host}:{self._port}"
        if self._host not in _LOOPBACK:
            raise OutputError(
                where, f"the page is for this machine only: use {_LOOPBACK[0]}", retryable=False
            )
        try:
            self._server = _Server((self._host, self._port), self._board)
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise OutputError(
                where, f"cannot listen there ({reason}): choose another port, or 0 for any"
            ) from error
        self._port = self._server.server_port
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.1,), name="page-server", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Close the port and every stream. Idempotent, and safe before ``start``."""
        self._board.close()
        if self._server is None or self._thread is None:
            return
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
        self._server = self._thread = None

    def feed(self, topic: str, payload: bytes, retained: bool) -> None:
        """Show a message. Thread-safe; takes microseconds and never raises for a client.

        Args:
            payload: empty to clear the topic.
            retained: the message is not fresh, but what a broker had kept from before. A
                message that is being published now is fresh, whether a broker keeps it or not.
        """
        self._board.post(Note(topic, payload, retained))


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = os.name == "posix"  # elsewhere it would let two programs share a port

    def __init__(self, address: tuple[str, int], board: Board) -> None:
        self.board = board
        self.page = resources.files("ingest.display").joinpath("page.html").read_bytes()
        self.policy = _content_policy(self.page.decode())
        super().__init__(address, _Handler)

    def server_bind(self) -> None:
        # HTTPServer would look the host's name up here, which waits for a DNS that is away.
        socketserver.TCPServer.server_bind(self)
        self.server_name, self.server_port = self.server_address[:2]  # type: ignore[assignment]

    def handle_error(self, request: Any, client_address: Any) -> None:
        if isinstance(sys.exc_info()[1], OSError):
            return  # the client vanished, which is its right
        _log.exception("the page server failed on a request")


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    server_version = "levelhead"
    sys_version = ""

    def setup(self) -> None:
        super().setup()
        self.connection.settimeout(STUCK_S)

    def do_GET(self) -> None:
        if not _LOCAL_NAME.fullmatch(self.headers.get("Host", "")):
            self.send_error(HTTPStatus.FORBIDDEN, "Ask for localhost")
        elif self.path == "/":
            self._send_page()
        elif self.path == "/events":
            self._send_events()
        else:
            self.send_error(HTTPStatus.NOT_FOUND)

    def log_message(self, format: str, *args: Any) -> None:
        """Stay silent: requests are no change of state."""

    def _send_page(self) -> None:
        self._begin("text/html; charset=utf-8", len(self.server.page))
        self.wfile.write(self.server.page)

    def _send_events(self) -> None:
        outbox = self.server.board.join(MOST_STREAMS)
        if outbox is None:
            self.send_error(HTTPStatus.SERVICE_UNAVAILABLE, "Too many pages are open")
            return
        try:
            self._begin("text/event-stream; charset=utf-8", None)
            self.wfile.write(b"event: start\ndata:\n\n")
            while not outbox.closed:
                self.wfile.write(_as_events(outbox.take(BEAT_S)))
                time.sleep(PACE_S)
        finally:
            self.server.board.leave(outbox)

    def _begin(self, content_type: str, length: int | None) -> None:
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", content_type)
        if length is not None:
            self.send_header("Content-Length", str(length))
        self.send_header("Cache-Control", "no-store")
        self.send_header("Content-Security-Policy", self.server.policy)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.end_headers()


def _as_events(notes: Iterable[Note]) -> bytes:
    """Return the notes as server-sent events, or a beat when there are none."""
    events = [f"data: {_as_json(note)}\n\n" for note in notes]
    return ("".join(events) or "event: beat\ndata:\n\n").encode()


def _as_json(note: Note) -> str:
    # The payload travels as text: one that is broken must not break the stream. JSON in
    # ASCII holds no line break, which would end an event.
    return json.dumps(
        {
            "topic": note.topic,
            "payload": note.payload.decode(errors="replace"),
            "retained": note.retained,
        }
    )


def _content_policy(page: str) -> str:
    """Return the policy that lets the page run its own script and talk to this server only."""
    scripts = _hashes(re.findall(r"<script[^>]*>(.*?)</script>", page, re.DOTALL))
    styles = _hashes(re.findall(r"<style[^>]*>(.*?)</style>", page, re.DOTALL))
    return (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; connect-src 'self'; "
        "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def _hashes(texts: Iterable[str]) -> str:
    digests = (hashlib.sha256(text.encode()).digest() for text in texts)
    return " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)
