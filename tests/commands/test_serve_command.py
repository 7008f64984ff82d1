"""``levelhead serve`` as a process of its own, on a real pty, heard by a client of its broker."""

import json
import signal
import socket
import subprocess
import sys
import threading

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from calibration.records.text import dump_record
from ingest.commands.demo_rig import record_of
from ingest.simulator.draws import draw_calibration, draw_head

PATIENCE_S = 20.0
ROOT = "levelhead/v1/pit"


class Ear:
    """A plain MQTT client that keeps what it hears and lets a test wait for it."""

    def __init__(self, port):
        self.heard = []
        self._news = threading.Condition()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe(f"{ROOT}/#", qos=1)
        self._client.on_message = self._keep
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _keep(self, client, userdata, message):
        fields = json.loads(message.payload) if message.payload else {}
        with self._news:
            self.heard.append((message.topic.removeprefix(f"{ROOT}/"), fields))
            self._news.notify_all()

    def wait(self, holds, what):
        """Return the first message that ``holds(topic, fields)``."""

        def found():
            return next((m for m in self.heard if holds(*m)), None)

        with self._news:
            assert self._news.wait_for(found, PATIENCE_S), f"{what}: heard {self.heard[-5:]}"
            return found()

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


def process(*words):
    return subprocess.Popen(
        [sys.executable, "-m", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


@pytest.fixture
def head_path():
    """A simulated head on a pty, in a process of its own."""
    simulator = process("ingest.simulator", "--heads", "1", "--seed", "5")
    try:
        yield json.loads(simulator.stdout.readline())["ptys"][0]
    finally:
        simulator.terminate()
        simulator.communicate(timeout=PATIENCE_S)


@pytest.fixture
def serving(tmp_path):
    """Return a starter of a service for one port; it yields the process and a client."""
    started = []

    def start(port_path, bay=""):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            mqtt_port = free.getsockname()[1]
        config = tmp_path / "pit.toml"
        config.write_text(
            f'[bay]\nname = "pit"\n{bay}[broker]\nport = {mqtt_port}\n'
            f'[[head]]\nport = "{port_path}"\n'
        )
        service = process("ingest.cli", "serve", str(config))
        assert "serves bay pit" in service.stdout.readline()
        ear = Ear(mqtt_port)
        started.append((service, ear))
        return service, ear

    yield start
    for service, ear in started:
        ear.close()
        if service.poll() is None:
            service.kill()
        service.communicate(timeout=PATIENCE_S)


def test_values_come_and_sigterm_says_goodbye(serving, head_path):
    service, ear = serving(head_path)
    _, reading = ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    assert reading["value"] is not None
    assert (reading["q"], reading["why"], reading["unit"]) == ("uncertain", "uncalibrated", "deg")
    _, status = ear.wait(lambda t, f: t == "svc/status" and f.get("heads") == 1, "the birth")
    assert status["state"] == "online"
    service.send_signal(signal.SIGTERM)
    _, status = ear.wait(lambda t, f: t == "svc/status" and f.get("state") == "offline", "goodbye")
    assert (status["why"], status["q"]) == ("stopped", "stale")
    _, errors = service.communicate(timeout=PATIENCE_S)
    assert service.returncode == 0
    assert "Traceback" not in errors


def test_a_record_with_a_changed_byte_is_refused_by_name(serving, head_path, tmp_path):
    known = draw_calibration(5, "head-1", draw_head(5, "head-1"))
    text = dump_record(record_of(1, known)).replace('"stub_m": 0.25', '"stub_m": 0.26')
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "head-1.json").write_text(text, encoding="utf-8")
    _, ear = serving(head_path, 'records_dir = "records"\n')
    _, reading = ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    assert (reading["q"], reading["why"]) == ("uncertain", "record-refused")
    _, alert = ear.wait(lambda t, f: t == f"svc/alert/record-{known.head}", "the alert")
    assert f"{folder / 'head-1.json'}: altered after it was sealed" in alert["text"]
    _, note = ear.wait(lambda t, f: t == "svc/alert/records-keys", "the note")
    assert note["level"] == "note"
    assert "signatures are not checked" in note["text"]
    assert "guards against accidents only" in note["text"]
    assert note["text"].endswith("seal it anew")


def test_a_study_with_a_changed_byte_is_refused_by_name(serving, head_path, tmp_path):
    (tmp_path / "study.json").write_text(
        '{"format": "levelhead-bay-study", "version": 1, "bay": "pit", "sha256": "0"}'
    )
    _, ear = serving(head_path, 'study = "study.json"\n')
    _, alert = ear.wait(lambda t, f: t == "svc/alert/bay-study", "the alert")
    assert f"{tmp_path / 'study.json'}: altered after it was sealed" in alert["text"]
    _, meta = ear.wait(lambda t, f: t == "svc/meta", "the description")
    assert meta["spread"] == "assumed spread of the bay"


def test_a_port_that_is_missing_at_first_is_said_and_taken_when_it_comes(
    serving, head_path, tmp_path
):
    link = tmp_path / "head"
    _, ear = serving(link)
    _, alert = ear.wait(lambda t, f: t == "svc/alert/link-1" and f, "the alert")
    assert str(link) in alert["text"]
    link.symlink_to(head_path)
    ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    ear.wait(lambda t, f: t == "svc/alert/link-1" and not f, "the alert taken back")


def test_a_broker_port_in_use_is_one_line(tmp_path):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        config = tmp_path / "pit.toml"
        held_port = held.getsockname()[1]
        config.write_text(f"[broker]\nport = {held_port}\n")
        service = process("ingest.cli", "serve", str(config))
        _, errors = service.communicate(timeout=PATIENCE_S)
    assert service.returncode == 2
    assert errors.startswith("levelhead serve: ")
    assert f"port {held_port}" in errors
    assert errors.count("\n") == 1
