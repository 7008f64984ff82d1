"""The kit's permissions on a real mosquitto: a display reads, a technician asks, nobody forges."""

import asyncio
import json
import subprocess
import threading

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from ingest.core.errors import OutputError
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import Topics
from tests.integrator.conftest import KIT

ROOT = "levelhead/v1/bay1"
USERS = ("service", "technician", "display")
PATIENCE_S = 15.0
NOT_AUTHORIZED = 0x87
"""As MQTT 5.0, 3.2.2.2, has it; the library gives the codes of 3.1.1 as those of 5."""

pytestmark = pytest.mark.real


class User:
    """A client of MQTT 3.1.1, which waits until the broker has taken each thing that it does."""

    def __init__(self, port, name):
        self.heard, self.answer, self._news = [], {}, threading.Condition()
        self._client = Client(CallbackAPIVersion.VERSION2)
        if name is not None:
            self._client.username_pw_set(name, f"of {name}")
        self._client.on_connect = lambda c, u, f, reason, p: self._note("connect", reason.value)
        self._client.on_publish = lambda c, u, mid, reason, p: self._note(mid, reason.value)
        self._client.on_subscribe = lambda c, u, mid, reasons, p: self._note(mid, reasons)
        self._client.on_message = self._hear
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.welcome = self._wait("connect")

    def _note(self, what, answer):
        with self._news:
            self.answer[what] = answer
            self._news.notify_all()

    def _hear(self, client, userdata, message):
        with self._news:
            self.heard.append(message.topic.removeprefix(f"{ROOT}/"))
            self._news.notify_all()

    def _wait(self, what):
        with self._news:
            assert self._news.wait_for(lambda: what in self.answer, PATIENCE_S), what
            return self.answer[what]

    def listen(self, *filters):
        _, mid = self._client.subscribe([(f"{ROOT}/{each}", 1) for each in filters])
        self._wait(mid)

    def publish(self, below):
        self._wait(self._client.publish(f"{ROOT}/{below}", b"{}", 1).mid)

    def hears(self, below):
        with self._news:
            return self._news.wait_for(lambda: below in self.heard, PATIENCE_S)

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture(scope="module")
def lines(real_part, tmp_path_factory):
    """The kit's own lines on users and permissions; its TLS needs a certificate of somebody's."""
    folder = tmp_path_factory.mktemp("users")
    text = "".join(f"{name}:of {name}\n" for name in USERS)
    (folder / "passwords").write_text(text)
    subprocess.run([real_part("mosquitto_passwd"), "-U", folder / "passwords"], check=True)
    (folder / "acl").write_text((KIT / "mosquitto" / "acl").read_text())
    said = (KIT / "mosquitto" / "mosquitto.conf").read_text().splitlines()
    kept = [line for line in said if line.startswith(("allow_", "password_file", "acl_file"))]
    assert len(kept) == 3
    return [line.replace("_file ", f"_file {folder}/") for line in kept]


@pytest.fixture
def broker(mosquitto, lines):
    return mosquitto(lines).start()


@pytest.fixture
def attempt(broker, real_part):
    """Return what publishes over a connection of its own, and waits until the broker took it.

    The broker acknowledges in 3.1.1 what it refuses, too: only that it goes nowhere can be seen.
    Mosquitto 2.0.11 then even drops the connection.
    """
    program = real_part("mosquitto_pub")

    def publish(name, below):
        login = ["-p", str(broker.port), "-u", name, "-P", f"of {name}"]
        what = ["-q", "1", "-r", "-t", f"{ROOT}/{below}", "-m", "{}"]
        subprocess.run([program, *login, *what], check=True, timeout=PATIENCE_S)

    return publish


@pytest.fixture
def user(broker):
    made = []

    def come(name):
        made.append(User(broker.port, name))
        return made[-1]

    yield come
    for each in made:
        each.close()


def test_a_display_reads_but_asks_for_nothing_and_a_technician_asks_but_forges_nothing(
    user, attempt
):
    service, technician, display = map(user, USERS)
    service.listen("cmd/+")
    for each in (technician, display):
        each.listen("#")
    said = ["svc/status", "head/alder/incl_y", "axle/1/left/camber", "vehicle/thrust"]
    said += ["cal/alder/latest", "job/state", "evt/job", "val/vehicle/thrust"]
    for below in [*said, "reply/display", "reply/technician"]:
        service.publish(below)
    service.listen("cmd/+/+")
    for below in ("cmd/turn-begin", "cmd/turn-begin/display", "cmd/turn-begin/technician"):
        attempt("display", below)
    for forger in ("display", "technician"):
        for below in ("svc/status", "axle/1/left/camber", "reply/technician", "cmd/turn-begin"):
            attempt(forger, below)
    attempt("technician", "cmd/turn-begin/display")
    technician.publish("cmd/turn-end/technician")
    assert service.hears("cmd/turn-end/technician")
    service.publish("evt/end")  # what was let through before it has come by then
    assert technician.hears("evt/end")
    assert display.hears("evt/end")
    assert service.heard == ["cmd/turn-end/technician"]
    assert sorted(display.heard) == sorted([*said, "reply/display", "evt/end"])
    assert sorted(technician.heard) == sorted([*said, "reply/technician", "evt/end"])


def test_whoever_has_no_login_stays_outside(user):
    # Mosquitto 2 answers an unknown and a missing user alike, as it should.
    assert user(None).welcome == NOT_AUTHORIZED
    assert user("somebody").welcome == NOT_AUTHORIZED


def test_the_terminal_hears_the_reply_to_the_user_that_it_asks_as(broker, tmp_path):
    """As the kit permits: asked under the user's name, answered under it, whatever it proposes."""
    asyncio.run(_asked(broker.port, tmp_path))


async def _asked(port, folder):
    service = Client(CallbackAPIVersion.VERSION2)
    service.username_pw_set("service", "of service")

    def answer(client, _userdata, message):
        asked = json.loads(message.payload)["id"]
        moment = {"t": "2027-03-04T10:00:00.000000000Z", "ms": 1804154400000}
        reply = moment | {"id": asked, "ok": True, "code": "ok", "text": "here"}
        client.publish(f"{ROOT}/reply/technician", b"no reply", 1)
        client.publish(f"{ROOT}/reply/technician", json.dumps(reply), 1)

    service.on_message = answer
    there = threading.Event()
    service.on_subscribe = lambda *_: there.set()
    service.on_connect = lambda client, *_: client.subscribe(f"{ROOT}/cmd/#", 1)
    service.connect("127.0.0.1", port)
    service.loop_start()
    assert await asyncio.to_thread(there.wait, PATIENCE_S)
    listener = _listener(port, folder, "of technician")
    try:
        await listener.start()
        reply = await listener.ask("identify", head="alder")
        assert (reply.ok, reply.text) == (True, "here")
    finally:
        await listener.stop()
        service.disconnect()
        await asyncio.to_thread(service.loop_stop)


def test_a_wrong_password_is_told_as_such(broker, tmp_path):
    async def come():
        await _listener(broker.port, tmp_path, "of nobody").start()

    with pytest.raises(OutputError, match=r"not author.*check user and password_file"):
        asyncio.run(come())


def _listener(port, folder, password):
    kept = folder / "password"
    kept.write_text(password)
    kept.chmod(0o600)
    settings = BrokerSettings("127.0.0.1", port, user="technician", password_file=kept)
    return Listener(settings, Topics("bay1"), [], lambda *_: None)
