"""The far end of a serial line: a pty, a TCP server, and the link that listens to it."""

import asyncio
import os
import socket
import time
import tty

import pytest

from ingest.core.ids import MonotonicNs
from ingest.drivers import serial as serial_module
from ingest.drivers.serial import SerialLink, SerialSettings

DEADLINE_S = 10.0
"""Of a whole test; met only when something hangs."""


class FarPty:
    """A pty whose path can be made to vanish and to come back."""

    def __init__(self, path):
        self.path = str(path)
        self.fd = -1
        self.appear()

    def appear(self):
        self.fd, slave = os.openpty()
        tty.setraw(slave)
        os.symlink(os.ttyname(slave), self.path)
        os.close(slave)

    def vanish(self):
        if self.fd >= 0:
            os.unlink(self.path)
            os.close(self.fd)
            self.fd = -1

    def say(self, data):
        os.write(self.fd, data)

    def hear(self, size):
        return os.read(self.fd, size)


class FarTcp:
    """A TCP server for one client at a time."""

    def __init__(self):
        self.server = socket.create_server(("127.0.0.1", 0))
        self.client = None
        self.path = f"socket://127.0.0.1:{self.server.getsockname()[1]}"

    def accept(self):
        if self.client is None:
            self.client, _ = self.server.accept()
            self.client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return self.client

    def say(self, data):
        self.accept().sendall(data)

    def hear(self, size):
        return self.accept().recv(size)

    def vanish(self):
        self.accept().close()
        self.server.close()


@pytest.fixture
def far_pty(tmp_path):
    far = FarPty(tmp_path / "head")
    yield far
    far.vanish()


@pytest.fixture
def far_tcp():
    far = FarTcp()
    yield far
    far.server.close()
    if far.client is not None:
        far.client.close()


@pytest.fixture(params=["pty-fd", "pty-thread", "tcp-fd", "tcp-thread"])
def far(request, monkeypatch):
    """Every kind of far end, read by descriptor and by thread."""
    kind, reader = request.param.split("-")
    if reader == "thread":
        monkeypatch.setattr(serial_module, "descriptor", lambda port: None)
    return request.getfixturevalue(f"far_{kind}")


@pytest.fixture
def link_to():
    """Return a function that makes a link, with the real clock."""

    def make(far, **settings):
        port = far if isinstance(far, str) else far.path
        return SerialLink(SerialSettings(port, **settings), monotonic_ns)

    return make


def monotonic_ns():
    return MonotonicNs(time.monotonic_ns())


@pytest.fixture
def run():
    """Return a function that runs a coroutine, and fails where it hangs."""

    def run(main):
        async def limited():
            async with asyncio.timeout(DEADLINE_S):
                return await main

        return asyncio.run(limited())

    return run


@pytest.fixture
def receive():
    """Return a coroutine function that takes chunks until it has so many bytes."""

    async def receive(link, size):
        chunks = []
        async for chunk in link.chunks():
            chunks.append(chunk)
            if sum(len(c.data) for c in chunks) >= size:
                break
        return chunks

    return receive
