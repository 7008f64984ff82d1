"""Answers one browser: files, papers, and the way to the broker."""

import logging
import os
import re
import socket
import socketserver
import ssl
import sys
from collections.abc import Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import unquote, urlsplit

from ingest.display.desk import Desk
from ingest.display.papers import Papers
from ingest.display.relay import Relay
from ingest.display.shelf import Sheet

STUCK_S = 10.0
"""A client that takes nothing, or asks nothing, for so long is let go."""

_NAME = re.compile(r"(?P<name>\[[0-9a-f:]+\]|[a-z0-9.-]{1,253})(:[0-9]{1,5})?", re.IGNORECASE)

_log = logging.getLogger(__name__)


class HttpServer(ThreadingHTTPServer):
    """Listens; each request has a thread of its own."""

    daemon_threads = True
    allow_reuse_address = os.name == "posix"  # elsewhere it would let two programs share a port

    def __init__(
        self,
        address: tuple[str, int],
        desk: Desk,
        names: frozenset[str],
        tls: ssl.SSLContext | None,
    ) -> None:
        self.desk = desk
        self.names = names
        self.tls = tls
        super().__init__(address, Handler)

    def server_bind(self) -> None:
        # HTTPServer would look the host's name up here, which waits for a DNS that is away.
        socketserver.TCPServer.server_bind(self)
        self.server_name, self.server_port = self.server_address[:2]  # type: ignore[assignment]

    def get_request(self) -> tuple[socket.socket, Any]:
        connection, peer = super().get_request()
        if self.tls is not None:  # the handshake waits for the peer: in the request's own thread
            connection = self.tls.wrap_socket(
                connection, server_side=True, do_handshake_on_connect=False
            )
        return connection, peer

    def handle_error(self, request: Any, client_address: Any) -> None:
        if isinstance(sys.exc_info()[1], OSError):
            return  # the client vanished, which is its right
        _log.exception("the page server failed on a request")


class Handler(BaseHTTPRequestHandler):
    """One connection of a browser."""

    server: HttpServer
    server_version = "levelhead"
    sys_version = ""
    protocol_version = "HTTP/1.1"  # a page is some forty small files: over one connection

    def setup(self) -> None:
        super().setup()
        self.connection.settimeout(STUCK_S)
        self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if isinstance(self.connection, ssl.SSLSocket):
            self.connection.do_handshake()

    def do_GET(self) -> None:
        # A page of another site can make its own name point here; it then asks for that name.
        named = _NAME.fullmatch(self.headers.get("Host", ""))
        path = urlsplit(self.path).path
        desk = self.server.desk
        if named is None or named["name"].lower() not in self.server.names:
            self._refuse(HTTPStatus.FORBIDDEN, "Ask for this machine by its own name")
        elif path == "/mqtt":
            self._relay()
        elif path == "/about.json":
            self._send(desk.about(), "application/json")
        elif path == "/papers/":
            self._send(desk.papers.listing() if desk.papers else b"null", "application/json")
        elif path.startswith("/papers/") and desk.papers is not None:
            self._send_paper(desk.papers, unquote(path.removeprefix("/papers/")))
        elif path in desk.shelf:
            self._send_sheet(desk.shelf[path])
        else:
            self._refuse(HTTPStatus.NOT_FOUND, "There is nothing here")

    def log_message(self, format: str, *args: Any) -> None:
        """Stay silent: requests are no change of state."""

    def _send_sheet(self, sheet: Sheet) -> None:
        if self.headers.get("If-None-Match") == sheet.tag:
            self.send_response(HTTPStatus.NOT_MODIFIED)
            self.send_header("ETag", sheet.tag)
            self.end_headers()
            return
        packed = "gzip" in self.headers.get("Accept-Encoding", "")
        more = {"ETag": sheet.tag, "Cache-Control": "no-cache", "Vary": "Accept-Encoding"}
        if packed:
            more["Content-Encoding"] = "gzip"
        self._send(sheet.packed if packed else sheet.body, sheet.content_type, more)

    def _send_paper(self, papers: Papers, name: str) -> None:
        paper = papers.read(name)
        if paper is None:
            self._refuse(HTTPStatus.NOT_FOUND, "There is no such paper")
            return
        # Papers bring their own style and pictures; whatever stands in one, nothing in it runs.
        policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'"
        self._send(paper.body, paper.content_type, {"Content-Security-Policy": policy})

    def _relay(self) -> None:
        source, self.close_connection = self.server.desk.source, True
        if source is None:
            self._refuse(HTTPStatus.NOT_FOUND, "No bay is looked at here")
            return
        relay = Relay(self.connection, source.dial)
        if not self.server.desk.admit(relay):
            self._refuse(HTTPStatus.SERVICE_UNAVAILABLE, "Too many pages are open")
            return
        try:
            scheme = "https" if self.server.tls is not None else "http"
            origin = f"{scheme}://{self.headers['Host']}"
            lines = [
                self.requestline,
                *(f"{name}: {value}" for name, value in self.headers.items()),
            ]
            asked = "".join(f"{line}\r\n" for line in [*lines, ""])
            relay.run(asked.encode("latin-1"), origin)
        finally:
            self.server.desk.dismiss(relay)

    def _refuse(self, status: HTTPStatus, text: str) -> None:
        self._send(f"{text}.\n".encode(), "text/plain; charset=utf-8", status=status)

    def _send(
        self,
        body: bytes,
        content_type: str,
        more: Mapping[str, str] | None = None,
        status: HTTPStatus = HTTPStatus.OK,
    ) -> None:
        self._begin(content_type, len(body), more or {}, status)
        self.wfile.write(body)

    def _begin(
        self,
        content_type: str,
        length: int,
        more: Mapping[str, str] | None = None,
        status: HTTPStatus = HTTPStatus.OK,
    ) -> None:
        headers = {
            "Content-Type": content_type,
            "Cache-Control": "no-store",
            "Content-Security-Policy": self._policy(),
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "Content-Length": str(length),
            **(more or {}),
        }
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()

    def _policy(self) -> str:
        """Return the policy: own files alone, and MQTT to this very server."""
        host = self.headers.get("Host", "") if self.headers else ""
        own = host if _NAME.fullmatch(host) else ""
        scheme = "wss" if self.server.tls is not None else "ws"
        return (
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
            f"connect-src 'self' {scheme}://{own}; base-uri 'none'; form-action 'none'; "
            "frame-ancestors 'none'"
        )
