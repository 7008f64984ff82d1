"""RFC 2217: a serial port served over the network, here by pyserial's own server side."""

import asyncio
import contextlib
import socket
import threading

import pytest
import serial
from serial.rfc2217 import PortManager

from ingest.core.errors import LinkLost, LinkNotFound

# pyserial 3.5 names its threads in a way that Python has since deprecated.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\):DeprecationWarning")

EVERY_BYTE = bytes(range(256))


class PortServer:
    """One looped-back serial port behind RFC 2217: what a client sends comes back to it."""

    def __init__(self):
        self.server = socket.create_server(("127.0.0.1", 0))
        self.path = f"rfc2217://127.0.0.1:{self.server.getsockname()[1]}"
        self.client = None
        self.port = serial.serial_for_url("loop://", timeout=0.01)
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def write(self, data):
        """What the manager answers with."""
        with contextlib.suppress(OSError):
            self.client.sendall(data)

    def serve(self):
        with contextlib.suppress(OSError):
            self.client, _ = self.server.accept()
            manager = PortManager(self.port, self)
            self.client.settimeout(0.005)
            while True:
                self.pump_in(manager)
                self.write(b"".join(manager.escape(self.port.read(self.port.in_waiting))))

    def pump_in(self, manager):
        with contextlib.suppress(TimeoutError):
            data = self.client.recv(1024)
            if not data:
                raise ConnectionError
            self.port.write(b"".join(manager.filter(data)))

    def vanish(self):
        if self.client is not None:
            with contextlib.suppress(OSError):
                self.client.shutdown(socket.SHUT_RDWR)
        self.server.close()
        self.thread.join(5.0)
        if self.client is not None:
            self.client.close()


@pytest.fixture
def far_server():
    server = PortServer()
    yield server
    server.vanish()


def test_bytes_pass_both_ways_and_the_far_port_gets_its_rate(run, far_server, link_to, receive):
    async def main():
        link = link_to(far_server, baud=57_600)
        await link.open()
        assert far_server.port.baudrate == 57_600
        await link.send(EVERY_BYTE)
        chunks = await receive(link, 256)
        assert b"".join(chunk.data for chunk in chunks) == EVERY_BYTE
        await link.close()
        await link.close()

    run(main())


def test_a_server_that_goes_away_is_a_lost_link(run, far_server, link_to, receive):
    async def main():
        link = link_to(far_server)
        await link.open()
        await asyncio.to_thread(far_server.vanish)
        with pytest.raises(LinkLost):
            await receive(link, 1)
        await link.close()
        with pytest.raises(LinkNotFound, match="connection refused"):
            await link.open()

    run(main())


def test_a_server_that_speaks_something_else_is_not_found(run, far_tcp, link_to):
    async def main():
        link = link_to(far_tcp.path.replace("socket:", "rfc2217:"))
        with pytest.raises(LinkNotFound, match="RFC2217"):
            await link.open()

    run(main())
