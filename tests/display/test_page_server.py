"""The page over real HTTP on loopback: what it hands out, to whom, and what it refuses."""

import http.client
import re
import socket
import urllib.error
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest

from ingest.core.errors import OutputError
from ingest.display import handler as handler_module
from ingest.display.desk import Source
from ingest.display.server import PageServer

TOPIC = "levelhead/v1/bay1/head/larch/incl_y"
STATE = "levelhead/v1/bay1/head/larch/status"
DEADLINE_S = 20.0


@pytest.fixture
def served() -> Iterator[PageServer]:
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
@pytest.mark.parametrize("path", ["/", "/about.json", "/mqtt"])
def test_refuses_a_name_that_is_not_this_machine(served: PageServer, host: str, path: str):
    served.join(Source("secret", lambda: socket.create_connection(("127.0.0.1", 9)), True))
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


def test_stopping_frees_the_port_and_may_be_done_twice(served: PageServer):
    host, port = address(served)
    served.stop()
    served.stop()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((host, port))
    again = PageServer(port=port)
    again.start()
    assert ask(again, "/")[0].status == 200
    again.stop()


def test_may_be_stopped_before_it_is_started():
    PageServer().stop()


def test_a_client_that_asks_nothing_is_let_go(served: PageServer, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(handler_module, "STUCK_S", 0.05)
    with socket.create_connection(address(served), DEADLINE_S) as silent:
        assert silent.recv(1) == b""


def test_where_no_folder_is_shown_that_is_said(served: PageServer):
    assert ask(served, "/papers/")[1] == b"null"
