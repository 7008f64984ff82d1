"""The page on a broker of its own, led by a script in a real browser that asks for its troubles."""

import asyncio
import contextlib
import socket
import threading
from asyncio.subprocess import PIPE, STDOUT
from collections.abc import Callable
from pathlib import Path

from ingest.display.desk import Source
from ingest.display.server import PageServer
from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings
from tools.rehearsal.driving import NODE, TOOLS

PAGE = Path(__file__).parent / "page"


class Freezable:
    """A way to the broker that can fall silent, as a radio does: open, and nothing comes."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._flowing = threading.Event()
        self._flowing.set()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._open: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._start(self._accept)

    def dial(self) -> socket.socket:
        return socket.create_connection(self._listening.getsockname(), 5)

    def freeze(self) -> None:
        self._flowing.clear()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listening.accept()
                far = socket.create_connection(("127.0.0.1", self._port), 5)
                for one, other in ((near, far), (far, near)):
                    one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    self._open.append(one)
                    self._start(self._carry, one, other)

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        one.settimeout(None)
        with contextlib.suppress(OSError):
            while data := one.recv(65536):
                self._flowing.wait()
                other.sendall(data)
        for each in (one, other):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def _start(self, act: Callable[..., None], *given: socket.socket) -> None:
        self._threads.append(threading.Thread(target=act, args=given, daemon=True))
        self._threads[-1].start()

    def close(self) -> None:
        self._flowing.set()
        for each in (self._listening, *self._open):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(10)
        for each in (self._listening, *self._open):
            each.close()


class Stage:
    """A broker, and the page's way to it, which can be stopped, cut and laid anew."""

    def __init__(self, port: int) -> None:
        self._port = port
        self.way = Freezable(port)

    def freeze(self) -> None:
        """Let nothing through any more, all connections standing."""
        self.way.freeze()

    def cut(self) -> None:
        """Cut the way."""
        self.way.close()

    def mend(self) -> None:
        """Lay another."""
        self.way = Freezable(self._port)


async def shown_in(
    chromium: str, script: str, asked: Callable[[Stage], dict[str, Callable[[], None]]]
) -> list[str]:
    """Return what a script says; what it asks for by a line of its own is done, and told it."""
    broker = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
    await broker.start()
    stage, server = Stage(broker.port), PageServer()
    server.join(Source("bay1", lambda: stage.way.dial(), at_home=True))
    server.start()
    given = [str(PAGE / script), server.url, str(broker.port), chromium, str(TOOLS)]
    does = asked(stage)
    try:
        ran = await asyncio.create_subprocess_exec(
            NODE, *given, stdin=PIPE, stdout=PIPE, stderr=STDOUT
        )
        assert ran.stdout is not None
        assert ran.stdin is not None
        told = []
        async for line in ran.stdout:
            told.append(line.decode().rstrip())
            if told[-1] in does:
                await asyncio.to_thread(does[told[-1]])
                ran.stdin.write(b"done\n")
        await ran.wait()
        return told
    finally:
        server.stop()
        stage.way.close()
        await broker.stop()
