"""RFC 2217: a serial port served over the network, here by pyserial's own server side."""

import asyncio

import pytest

from ingest.core.errors import LinkLost, LinkNotFound
from tests.rig.portserver import PortServer

# pyserial 3.5 names its threads in a way that Python has since deprecated.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\):DeprecationWarning")

EVERY_BYTE = bytes(range(256))


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
