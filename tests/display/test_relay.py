"""The way from a page to the broker: an independent client through the relay, and who may not."""

import asyncio
import contextlib
import socket
import threading
from collections.abc import Iterator

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin, Subprotocol

from ingest.display import desk as desk_module
from ingest.display.desk import Source
from ingest.display.server import PageServer
from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings

MQTT = Subprotocol("mqtt")
WAIT_S = 20.0


class Echo:
    """Stands for a broker: says back what it hears, and knows when a connection ends."""

    def __init__(self) -> None:
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.ended = threading.Event()
        self.heard = b""
        threading.Thread(target=self._serve, daemon=True).start()

    def dial(self) -> socket.socket:
        return socket.create_connection(self.listening.getsockname(), WAIT_S)

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self.listening.accept()
                while data := connection.recv(4096):
                    self.heard += data
                    connection.sendall(data)
                connection.close()
                self.ended.set()


@pytest.fixture
def echo() -> Iterator[Echo]:
    echo = Echo()
    yield echo
    echo.listening.close()


@pytest.fixture
def served(echo: Echo) -> Iterator[PageServer]:
    server = PageServer()
    server.join(Source("bay1", echo.dial, at_home=True))
    server.start()
    yield server
    server.stop()


def way(server: PageServer, origin: str | None = None) -> connect:
    address = server.url.replace("http", "ws") + "mqtt"
    own = Origin(origin if origin is not None else server.url.rstrip("/"))
    return connect(address, subprotocols=[MQTT], origin=own, open_timeout=WAIT_S, proxy=None)


def test_carries_bytes_both_ways_however_they_are_cut(served: PageServer, echo: Echo):
    with way(served) as page:
        assert page.subprotocol == "mqtt"
        page.send(b"one ")
        page.send([b"two ", b"three"])  # in fragments
        heard = b""
        while len(heard) < 13:
            heard += bytes(page.recv(WAIT_S))
    assert heard == b"one two three"
    assert echo.ended.wait(WAIT_S)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1"])
def test_a_page_of_another_site_is_turned_away(served: PageServer, echo: Echo, origin: str):
    with pytest.raises(InvalidStatus) as refused, way(served, origin):
        pass
    assert refused.value.response.status_code == 403
    assert echo.heard == b""


def test_text_and_what_is_too_large_end_the_connection(served: PageServer, echo: Echo):
    for sent in ("text", bytes(20_000)):
        with way(served) as page:
            page.send(sent)
            with pytest.raises(ConnectionClosed):
                page.recv(WAIT_S)
    assert echo.heard == b""


def test_a_broker_that_is_away_is_told_as_that(served: PageServer, echo: Echo):
    echo.listening.close()
    with pytest.raises(InvalidStatus) as refused, way(served):
        pass
    assert refused.value.response.status_code == 502


def test_only_so_many_pages_and_stopping_ends_them(
    served: PageServer, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(desk_module, "MOST_RELAYS", 1)
    with way(served) as page:
        with pytest.raises(InvalidStatus) as refused, way(served):
            pass
        assert refused.value.response.status_code == 503
        served.stop()
        with pytest.raises(ConnectionClosed):
            page.recv(WAIT_S)


def test_a_page_without_a_broker_only_looks_on():
    server = PageServer()
    server.start()
    with pytest.raises(InvalidStatus) as refused, way(server):
        pass
    assert refused.value.response.status_code == 404
    server.stop()


def test_the_embedded_broker_answers_through_it():
    # MQTT 3.1.1: CONNECT (section 3.1) of client "a", clean session; CONNACK (3.2) without fault;
    # PINGREQ (3.12) and PINGRESP (3.13).
    hello = bytes.fromhex("100d 0004 4d515454 04 02 003c 0001 61")

    async def talk() -> tuple[bytes, bytes]:
        broker = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
        await broker.start()
        port = broker.port
        server = PageServer()
        server.join(Source("bay1", lambda: socket.create_connection(("127.0.0.1", port)), True))
        server.start()
        try:
            return await asyncio.to_thread(ask, server)
        finally:
            server.stop()
            await broker.stop()

    def ask(server: PageServer) -> tuple[bytes, bytes]:
        with way(server) as page:
            page.send(hello)
            welcome = bytes(page.recv(WAIT_S))
            page.send(bytes.fromhex("c000"))
            return welcome, bytes(page.recv(WAIT_S))

    assert asyncio.run(talk()) == (bytes.fromhex("20020000"), bytes.fromhex("d000"))
