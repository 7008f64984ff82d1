"""Hands the display's files to browsers, carries their MQTT to the broker, opens papers.

On loopback there are no users here: whoever sits at this machine is the technician, where the
broker lets anybody in. For other machines it takes a certificate, and the broker asks for a login.
"""

import ssl
import threading
from collections.abc import Iterable
from pathlib import Path

from ingest.core.errors import OutputError
from ingest.display.desk import Desk, Source
from ingest.display.handler import HttpServer
from ingest.display.papers import Papers
from ingest.display.shelf import NotFetched, read_shelf

LOOPBACK = ("127.0.0.1", "localhost")


class PageServer:
    """The display at ``url``; threads of its own, never in the way."""

    def __init__(
        self,
        host: str = LOOPBACK[0],
        port: int = 0,
        *,
        names: Iterable[str] = (),
        tls: ssl.SSLContext | None = None,
    ) -> None:
        """Args: port: 0 for any free one. names: what browsers elsewhere call this machine."""
        self._host = host
        self._port = port
        self._names = frozenset({*LOOPBACK, "[::1]", host, *names})
        self._tls = tls
        self._desk = Desk()
        self._server: HttpServer | None = None
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        """Where the page is. With port 0 the real one is known after ``start``."""
        return f"http{'s' if self._tls else ''}://{self._host}:{self._port}/"

    def join(self, source: Source) -> None:
        """Let pages reach a bay's broker from now on: they may ask for things there."""
        self._desk.source = source

    def lay_out(self, folder: Path) -> None:
        """Let pages open the papers of a folder."""
        self._desk.papers = Papers(folder)

    def start(self) -> None:
        """Serve from now on. Raises ``OutputError`` when the port cannot be had."""
        where = f"page on {self._host}:{self._port}"
        if self._host not in LOOPBACK and self._tls is None:
            reason = f"for other machines it takes a certificate; without one use {LOOPBACK[0]}"
            raise OutputError(where, reason, retryable=False)
        try:
            self._desk.shelf = read_shelf()
            self._server = HttpServer((self._host, self._port), self._desk, self._names, self._tls)
        except NotFetched as error:
            raise OutputError(where, str(error), retryable=False) from error
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
        """Close the port and every connection. Idempotent, and safe before ``start``."""
        self._desk.close()
        if self._server is None or self._thread is None:
            return
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
        self._server = self._thread = None
