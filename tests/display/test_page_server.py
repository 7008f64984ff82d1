"""The page and its stream over real HTTP on loopback."""

import contextlib
import http.client
import json
import logging
import re
import socket
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest

from ingest.core.errors import OutputError
from ingest.display import handler as handler_module
from ingest.display.server import PageServer

TOPIC = "levelhead/v1/bay1/head/larch/incl_y"
STATE = "levelhead/v1/bay1/head/larch/status"
DEADLINE_S = 20.0


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[PageServer]:
    monkeypatch.setattr(handler_module, "BEAT_S", 0.1)
    monkeypatch.setattr(handler_module, "PACE_S", 0.005)
    server = PageServer()
    server.start()
    yield server
    server.stop()


def address(server: PageServer) -> tuple[str, int]:
    host, port = re.fullmatch(r"http://([^:]+):(\d+)/", server.url).groups()  # type: ignore[union-attr]
    return host, int(port)


def ask(server: PageServer, path: str, host: str | None = None, method: str = "GET") -> Any:
    connection = http.client.HTTPConnection(*address(server), timeout=DEADLINE_S)
    connection.putrequest(method, path, skip_host=host is not None)
    if host:
        connection.putheader("Host", host)
    connection.endheaders()
    response = connection.getresponse()
    body = response.read()
    connection.close()
    return response, body


class Stream:
    """A foreign reader of the event stream: plain lines, no code of ours."""

    def __init__(self, server: PageServer) -> None:
        self.connection = http.client.HTTPConnection(*address(server), timeout=DEADLINE_S)
        self.connection.request("GET", "/events")
        self.response = self.connection.getresponse()

    def event(self) -> tuple[str, str]:
        """Return the next event's type and data."""
        kind, data = "message", ""
        while line := self.response.readline().decode().rstrip("\n"):
            name, _, value = line.partition(":")
            kind = value.strip() if name == "event" else kind
            data = value.strip() if name == "data" else data
        return kind, data

    def message(self) -> dict[str, Any]:
        """Return the next message, past any beat."""
        while True:
            kind, data = self.event()
            if kind == "message":
                return dict(json.loads(data))

    def close(self) -> None:
        self.response.close()
        self.connection.close()


@pytest.fixture
def stream(served: PageServer) -> Iterator[Stream]:
    with contextlib.closing(Stream(served)) as opened:
        yield opened


def wait_until(condition: Any) -> None:
    pause = threading.Event()
    for _ in range(int(DEADLINE_S / 0.01)):
        if condition():
            return
        pause.wait(0.01)
    raise AssertionError("waited in vain")


def test_the_page_is_served_whole(served: PageServer):
    with urllib.request.urlopen(served.url, timeout=DEADLINE_S) as response:
        page = response.read().decode()
        assert response.headers["Content-Type"] == "text/html; charset=utf-8"
    assert page.startswith("<!doctype html>")
    assert page.rstrip().endswith("</html>")


def test_the_page_may_run_only_its_own_scripts_and_ask_only_its_own_server(served: PageServer):
    response, body = ask(served, "/")
    policy = response.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none';")
    host, port = address(served)
    assert "script-src 'self';" in policy
    assert f"connect-src 'self' ws://{host}:{port};" in policy
    assert "unsafe" not in policy
    assert b"<style" not in body
    assert not re.search(rb"<script(?![^>]* src=)", body)


def test_a_new_page_gets_what_is_known_and_then_what_comes(served: PageServer):
    served.feed(TOPIC, b'{"value":1}', False)
    served.feed(TOPIC, b'{"value":2}', False)
    with contextlib.closing(Stream(served)) as stream:
        assert stream.response.headers["Content-Type"].startswith("text/event-stream")
        assert stream.event() == ("start", "")
        assert stream.message() == {"topic": TOPIC, "payload": '{"value":2}', "retained": True}
        served.feed(TOPIC, b'{"value":3}', False)
        assert stream.message() == {"topic": TOPIC, "payload": '{"value":3}', "retained": False}
        served.feed(TOPIC, b'{"value":4}', True)
        assert stream.message()["retained"] is True


def test_a_quiet_stream_beats_so_that_the_page_knows_it_is_alive(stream: Stream):
    assert stream.event()[0] == "start"
    assert stream.event()[0] == "beat"
    assert stream.event()[0] == "beat"


@pytest.mark.parametrize(
    "payload", [b"\xff\xfe not text", b"two\nlines\n\nevent: start", "schräg\u2028".encode(), b""]
)
def test_no_payload_breaks_the_stream(served: PageServer, stream: Stream, payload: bytes):
    served.feed(TOPIC, payload, False)
    served.feed(STATE, b"after", False)
    assert stream.message()["payload"] == payload.decode(errors="replace")
    assert stream.message()["payload"] == "after"


def test_a_page_that_reads_nothing_holds_up_neither_the_others_nor_the_service(served: PageServer):
    stuck = socket.create_connection(address(served))
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    stuck.sendall(b"GET /events HTTP/1.0\r\nHost: localhost\r\n\r\n")
    with contextlib.closing(Stream(served)) as awake, contextlib.closing(stuck):
        wait_until(lambda: served._desk.board.listeners == 2)
        big = b"x" * 100_000
        for i in range(200):  # 20 MB: far more than the socket's buffers hold
            served.feed(f"levelhead/v1/bay1/axle/{i}/left/camber", big, False)
            assert awake.message()["topic"].split("/")[4] == str(i)


def test_a_page_that_reads_nothing_for_long_is_let_go(
    served: PageServer, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(handler_module, "STUCK_S", 0.2)
    with contextlib.closing(socket.create_connection(address(served))) as stuck:
        stuck.sendall(b"GET /events HTTP/1.0\r\nHost: localhost\r\n\r\n")
        wait_until(lambda: served._desk.board.listeners == 1)
        for i in range(200):
            served.feed(f"levelhead/v1/bay1/axle/{i}/left/camber", b"x" * 100_000, False)
        wait_until(lambda: served._desk.board.listeners == 0)


def test_pages_that_vanish_leave_no_trace(
    served: PageServer, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
):
    with caplog.at_level(logging.DEBUG):
        for _ in range(5):
            Stream(served).close()
        half = socket.create_connection(address(served))
        half.sendall(b"GET /ev")
        half.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        half.close()  # a reset in the middle of a request
        wait_until(lambda: served._desk.board.listeners == 0)
        served.feed(TOPIC, b"1", False)
        assert ask(served, "/")[0].status == 200
    assert capfd.readouterr() == ("", "")
    assert caplog.records == []


def test_a_fault_of_ours_is_logged_and_ends_that_request_alone(
    served: PageServer, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    def broken(_handler: object, _sheet: object) -> None:
        raise ValueError("made up")

    monkeypatch.setattr(handler_module.Handler, "_send_sheet", broken)
    with pytest.raises(http.client.RemoteDisconnected):
        ask(served, "/")
    assert "made up" in caplog.text
    assert ask(served, "/nowhere")[0].status == 404


@pytest.mark.parametrize(
    "host",
    ["", "evil.example", "evil.example:80", "localhost.evil.example", "127.0.0.1.evil.example",
     "127.0.0.1@evil.example", "0.0.0.0", "192.0.2.7:80", "localhost:80:80"],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/", "/events"])
def test_refuses_a_name_that_is_not_this_machine(served: PageServer, host: str, path: str):
    served.feed(TOPIC, b"secret", False)
    response, body = ask(served, path, host)
    assert response.status == 403
    assert b"secret" not in body


@pytest.mark.parametrize(
    "host", ["localhost", "LOCALHOST:8080", "127.0.0.1", "127.0.0.1:1", "[::1]:80"]
)
def test_answers_to_every_name_of_this_machine(served: PageServer, host: str):
    assert ask(served, "/", host)[0].status == 200


@pytest.mark.parametrize(
    "path",
    [
        "/server.py",
        "/events/",
        "/..",
        "/%2e%2e/",
        "/../server.py",
        "*",
        "/papers/",
        "/papers/x.html",
    ],
)
def test_there_is_nothing_else(served: PageServer, path: str):
    response, body = ask(served, path)
    assert response.status == 404
    assert b"Python" not in body + str(response.headers).encode()


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_nothing_can_be_sent_to_it(served: PageServer, method: str):
    assert ask(served, "/", method=method)[0].status == 501


def test_too_many_pages_are_refused_and_a_place_becomes_free(
    served: PageServer, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(handler_module, "MOST_STREAMS", 1)
    first = Stream(served)
    assert first.event()[0] == "start"
    assert ask(served, "/events")[0].status == 503
    first.close()
    wait_until(lambda: served._desk.board.listeners == 0)
    with contextlib.closing(Stream(served)) as second:
        assert second.event()[0] == "start"


def test_a_taken_port_is_told_in_one_line(served: PageServer):
    _, port = address(served)
    second = PageServer(port=port)
    with pytest.raises(OutputError) as caught:
        second.start()
    assert re.fullmatch(
        rf"page on 127\.0\.0\.1:{port}: .*Address already in use.*", str(caught.value)
    )
    assert "choose another" in str(caught.value)
    second.stop()


@pytest.mark.parametrize("port", [-1, 65536])
def test_an_impossible_port_is_told_in_one_line(port: int):
    with pytest.raises(OutputError, match="choose another port"):
        PageServer(port=port).start()


@pytest.mark.parametrize("host", ["0.0.0.0", "", "192.0.2.7", "::"])
def test_refuses_to_listen_beyond_this_machine(host: str):
    with pytest.raises(OutputError, match="takes a certificate") as caught:
        PageServer(host=host).start()
    assert not caught.value.retryable


def test_stopping_ends_streams_frees_the_port_and_may_be_done_twice(served: PageServer):
    host, port = address(served)
    stream = Stream(served)
    assert stream.event()[0] == "start"
    served.stop()
    served.stop()
    assert b"data:" not in stream.response.read().replace(b"event: beat\ndata:", b"")
    stream.close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((host, port))
    served.feed(TOPIC, b"1", False)
    again = PageServer(port=port)
    again.start()
    assert ask(again, "/")[0].status == 200
    again.stop()


def test_may_be_stopped_and_fed_before_it_is_started():
    server = PageServer()
    server.feed(TOPIC, b"1", False)
    server.stop()
