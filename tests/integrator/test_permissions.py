"""The kit's permissions on a real mosquitto: a display reads, a technician asks, nobody forges."""

import subprocess
import threading

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

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
