"""``levelhead replay`` as a process of its own."""

import json
import re
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from ingest.capture.reader import read_capture
from ingest.cli import main
from tests.rig.mosquitto import free_port

CAPTURE = Path(__file__).parents[1] / "cases" / "knock" / "capture.mcap"
PATIENCE_S = 30.0
CLI = (sys.executable, "-m", "ingest.cli")


def levelhead(*words):
    return subprocess.run(
        [*CLI, *map(str, words)],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
    )


@pytest.fixture(scope="module")
def printed():
    done = levelhead("replay", CAPTURE, "--print")
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_two_replays_print_the_same_bytes(printed):
    assert len(printed.splitlines()) > 100
    assert levelhead("replay", CAPTURE, "--print").stdout == printed


def test_what_is_printed_bears_the_replay_s_name_and_the_capture_s_start(printed):
    lines = [line.split(" ", 1) for line in printed.splitlines()]
    assert {t.split("/")[2] for t, _ in lines} == {"sim-replay"}
    assert any("/reply/" in t for t, _ in lines)
    boots = {json.loads(p).get("boot") for t, p in lines if p and t.endswith("/runout")}
    assert boots == {"b-1"}


def test_info_tells_what_a_capture_holds():
    done = levelhead("replay", CAPTURE, "--info")
    assert done.returncode == 0
    assert re.search(r"^bay sim, 20.. *", done.stdout)
    assert re.search(r"^alder: [1-9]\d+ bytes in \d+ reads$", done.stdout, re.MULTILINE)
    asked = sum(record.topic == "request" for record in read_capture(CAPTURE).records)
    assert f"{asked} requests of displays" in done.stdout


def test_a_torn_capture_is_played_and_the_tear_is_said(tmp_path, printed):
    torn = tmp_path / "torn.mcap"
    torn.write_bytes(CAPTURE.read_bytes()[:40_000])
    done = levelhead("replay", torn, "--print")
    assert done.returncode == 0
    assert printed.startswith(done.stdout)
    assert done.stdout
    assert len(done.stderr.splitlines()) == 1
    assert "torn off after" in done.stderr


@pytest.fixture
def refuses(capsys):
    """Return a check that a command is refused in one line."""

    def check(words, reason):
        assert main([*map(str, words)]) == 2
        said = capsys.readouterr()
        assert len(said.err.splitlines()) == 1
        assert reason in said.err
        assert said.out == ""

    return check


@pytest.mark.parametrize("content", [b"", b"\x89PNG\r\n\x1a\n" + bytes(40), b'{"a": 1}'])
def test_a_foreign_file_is_refused_in_one_line(tmp_path, refuses, content):
    path = tmp_path / "foreign"
    path.write_bytes(content)
    refuses(("replay", path, "--print"), "is no capture")


def test_a_missing_file_is_refused_in_one_line(tmp_path, refuses):
    refuses(("replay", tmp_path / "none.mcap"), "No such file")


def test_a_broker_that_is_not_there_is_said_at_once(refuses):
    # Not "no broker answered within 10 s": that is for one that is silent.
    refuses(("replay", CAPTURE, "--host", "127.0.0.1", "--port", free_port()), "onnection refused")


@pytest.mark.parametrize("speed", ["0", "-1", "nan"])
def test_a_speed_that_is_none_is_refused(refuses, speed):
    refuses(("replay", CAPTURE, f"--speed={speed}"), "not above 0")


class Ear:
    """A plain MQTT client that keeps the last payload of each topic."""

    def __init__(self, port, heard=lambda topic, payload: None):
        self.last = {}
        self._heard = heard
        self._news = threading.Condition()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe("levelhead/v1/#", qos=1)
        self._client.on_message = self._keep
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _keep(self, client, userdata, message):
        with self._news:
            self.last[message.topic] = message.payload
            self._heard(message.topic, message.payload)
            self._news.notify_all()

    def wait(self, holds):
        with self._news:
            assert self._news.wait_for(lambda: holds(self.last), PATIENCE_S), sorted(self.last)

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


@pytest.mark.parametrize("speed", ["25", "1e6"])
def test_at_any_speed_what_stands_in_the_end_is_the_same(printed, speed):
    expected = dict(line.split(" ", 1) for line in printed.splitlines() if "/reply/" not in line)
    stands = {
        topic: payload
        for topic, payload in expected.items()
        if topic.endswith(("/runout", "/camber", "/svc/meta")) or "/svc/alert/" in topic
    }
    assert len(stands) >= 2
    replay = subprocess.Popen(
        [*CLI, "replay", str(CAPTURE), "--speed", speed, "--stay", "--port", str(free_port())],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        port = int(re.search(r"-p (\d+)", replay.stdout.readline())[1])
        ear = Ear(port)
        try:
            ear.wait(lambda last: all(last.get(t, b"").decode() == p for t, p in stands.items()))
        finally:
            ear.close()
    finally:
        replay.send_signal(signal.SIGINT)
        _, said = replay.communicate(timeout=PATIENCE_S)
    assert "Traceback" not in said


def test_a_loop_begins_anew_as_another_start_and_takes_back_what_stood():
    words = ("replay", CAPTURE, "--speed=1e6", "--loop", "--plain", "--port", free_port())
    replay = subprocess.Popen(
        [*CLI, *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    boots, plain, cleared = [], set(), set()

    def keep(topic, payload):
        if topic.endswith("/svc/status"):
            boots.append((json.loads(payload)["boot"], json.loads(payload)["state"]))
        elif "/val/" in topic:
            plain.add(payload.decode().split()[-1])
        elif not payload:
            cleared.add(topic.split("/", 3)[3])

    try:
        ear = Ear(int(re.search(r"-p (\d+)", replay.stdout.readline())[1]), keep)
        try:
            ear.wait(lambda last: ("b-1-2", "offline") in boots)
        finally:
            ear.close()
    finally:
        replay.send_signal(signal.SIGINT)
        _, said = replay.communicate(timeout=PATIENCE_S)
    assert said == ""
    first, second = boots.index(("b-1", "offline")), boots.index(("b-1-2", "online"))
    assert first < second
    assert plain - {"stale"}
    assert "head/alder/runout" in cleared
    assert not cleared & {"svc/status", "svc/meta"}


def test_a_page_s_port_is_one_of_our_own_broker(refuses):
    words = ("replay", CAPTURE, "--host", "127.0.0.1", "--websocket", free_port())
    refuses(words, "leave out --host")


def of_topics(lines):
    """Payloads by topic, without the replies and without the status that a connection says too."""
    found = {}
    for topic, payload in lines:
        if "/reply/" not in topic and not topic.endswith("/svc/status"):
            found.setdefault(topic, []).append(payload)
    return found


@pytest.mark.real
def test_on_a_broker_every_message_is_said_as_it_is_printed(printed, mosquitto):
    broker, end = mosquitto().start(), "levelhead/v1/sim-replay/end"
    heard, ended, ready = [], threading.Event(), threading.Event()

    def keep(client, userdata, message):
        if message.topic == end:
            ended.set()
        else:
            heard.append((message.topic, message.payload.decode()))

    client = Client(CallbackAPIVersion.VERSION2)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = keep
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    client.subscribe("levelhead/v1/sim-replay/#", qos=1)
    try:
        assert ready.wait(PATIENCE_S)
        done = levelhead(
            "replay", CAPTURE, "--host", "127.0.0.1", "--port", broker.port, "--speed=1e6"
        )
        assert (done.returncode, done.stderr) == (0, "")
        client.publish(end, b"", qos=1)
        assert ended.wait(PATIENCE_S)
    finally:
        client.disconnect()
        client.loop_stop()
    assert of_topics(heard) == of_topics(line.split(" ", 1) for line in printed.splitlines())


def test_a_record_at_which_the_program_fails_is_said_by_the_exit_code(monkeypatch, capsys):
    def failing(self, moment, what):
        raise ZeroDivisionError

    monkeypatch.setattr("ingest.service.workings.Workings.take", failing)
    assert main(["replay", str(CAPTURE), "--print"]) == 1
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 1
    assert "the program itself failed at" in said
