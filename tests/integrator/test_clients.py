"""Every client of the kit on a real broker shows what a display must, and nothing that it must not.

One story is told to all of them at once; what each step must show was written by hand, from the
four rules of staleness in the kit's page. Then a capture is replayed to the same clients.
"""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from ingest.payload.examples import EXAMPLES
from tests.integrator.conftest import KIT
from tests.integrator.showing import Showing
from tests.rig.mosquitto import free_port

HERE = Path(__file__).parent
CAPTURE = HERE.parent / "cases" / "good-turn" / "capture.mcap"
BAY = "sim-replay"
ROOT = f"levelhead/v1/{BAY}"
TILT, CAMBER = "head/alder/incl_y", "axle/1/left/camber"

pytestmark = pytest.mark.real


class Teller:
    """Says the story: messages of our own models, or broken ones."""

    def __init__(self, port):
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def raw(self, below, payload, retain=False):
        self._client.publish(f"{ROOT}/{below}", payload, qos=1, retain=retain).wait_for_publish(10)

    def say(self, below, name, retain=False, **changed):
        example = json.loads(EXAMPLES[name].encode())
        self.raw(below, json.dumps({**example, **changed}), retain)

    def service(self, state, boot="b-2", retain=True):
        self.say("svc/status", "service-status/1", retain, state=state, boot=boot)

    def head(self, state):
        self.say("head/alder/status", "head-status/1", True, state=state)

    def tilt(self, retain=False, **changed):
        self.say(TILT, "reading/1", retain, **changed)

    def camber(self, **changed):
        limits = {"lo": -1.0, "hi": 0.5, "rule": "guard-u"}
        self.say(CAMBER, "axle-result/1", True, **{**limits, **changed})

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture(scope="module")
def broker(real_part, tmp_path_factory):
    from tests.rig.mosquitto import Mosquitto

    page_port = free_port()
    lines = ["allow_anonymous true", f"listener {page_port} 127.0.0.1", "protocol websockets"]
    made = Mosquitto(
        real_part("mosquitto"), tmp_path_factory.mktemp("b"), free_port(), lines
    ).start()
    made.page_port = page_port
    yield made
    made.kill()


@pytest.fixture(scope="module")
def teller(broker):
    """What stands on the broker before any client comes: all of it retained."""
    made = Teller(broker.port)
    made.service("online")
    made.head("online")
    made.tilt(retain=True)
    made.camber(dec="inside")
    yield made
    made.close()


def python_clients(broker, topics=(TILT, CAMBER)):
    program = [sys.executable, KIT / "display.py", "--port", broker.port, "--bay", BAY]
    return [Showing([*program, "--topic", topic], topic) for topic in topics]


def page_clients(broker, node, topics=(TILT, CAMBER)):
    program, env = node
    query = f"?broker=ws://127.0.0.1:{broker.page_port}&bay={BAY}&topic="
    words = [program, HERE / "page.cjs", KIT / "display.html"]
    return [Showing([*words, query + topic], topic, env) for topic in topics]


def flow_client(broker, node, folder):
    program, env = node
    return [
        Showing([program, HERE / "editor.cjs", folder, KIT / "flow.json", broker.port], env=env)
    ]


@pytest.fixture(scope="module", params=["python", "page", "flow"])
def client(request, broker, teller, tmp_path_factory):
    if request.param == "python":
        made = python_clients(broker)
    else:
        node = request.getfixturevalue("node")
        folder = tmp_path_factory.mktemp("flow")
        is_page = request.param == "page"
        made = page_clients(broker, node) if is_page else flow_client(broker, node, folder)
    yield made
    for each in made:
        each.stop()


class Shown:
    def __init__(self, clients):
        self._by_topic = {each.topic: each for each in clients}

    def wait(self, topic, text):
        self._by_topic.get(topic, self._by_topic.get(None)).wait(topic, text)


def test_a_client_of_json_follows_the_story(client, teller, broker):
    shown = Shown(client)
    # What it met on arrival: a result stands, a retained reading is the last known.
    shown.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")
    shown.wait(TILT, "- deg NO DATA, last known, not live")
    teller.tilt(ttl=1.0)
    shown.wait(TILT, "-1.284 +/- 0.024 deg NOT JUDGED")
    shown.wait(TILT, "- deg NO DATA, nothing new")  # no newer one within its ttl
    teller.tilt(value=-1.5, U=1.2, q="uncertain", why="uncalibrated")
    shown.wait(TILT, "-1.500 +/- 1.2 deg NOT JUDGED, uncertain: uncalibrated")
    teller.head("offline")
    shown.wait(TILT, "- deg NO DATA, head offline")
    shown.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")
    teller.head("online")
    teller.tilt(q="bad", why="sensor-fault")
    shown.wait(TILT, "- deg NO DATA, bad: sensor-fault")
    teller.camber(dec="undecided", value=0.46)
    shown.wait(CAMBER, "0.460 +/- 0.059 deg UNDECIDED")
    teller.camber(dec="outside", value=0.9, U=0.06, unit="mm/m", dp=2)
    shown.wait(CAMBER, "0.90 +/- 0.06 mm/m OUTSIDE")
    # A newer program: an unknown key is passed over, an unknown word is the worst case.
    teller.camber(dec="splendid", humidity=41)
    shown.wait(CAMBER, "-0.423 +/- 0.059 deg NOT JUDGED")
    teller.camber(q="splendid", why="")
    shown.wait(CAMBER, "- deg NO DATA, bad: unknown")
    teller.raw(CAMBER, "{broken", retain=True)
    shown.wait(CAMBER, "- NO DATA, bad: unreadable")
    # No program of ours says these, but nobody guarantees who writes; none may freeze a display.
    for odd in (
        {"value": "<b>"},
        {"value": float("nan")},
        {"U": "x"},
        {"dp": None},
        {"dp": 99},
        {"ttl": "soon"},
    ):
        teller.camber(dec="inside")
        shown.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")
        teller.camber(**odd)
        shown.wait(CAMBER, "- NO DATA, bad: unreadable")
    teller.camber(value=None)
    shown.wait(CAMBER, "- deg NO DATA, bad: unknown")
    teller.camber(U=None, k=None, dec="none")
    shown.wait(CAMBER, "-0.423 +/- ? deg NOT JUDGED")
    teller.service("offline", boot="b-1", retain=False)  # the late will of an old start
    teller.camber(dec="inside")
    shown.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")
    teller.service("offline")
    shown.wait(CAMBER, "- deg NO DATA, service offline")
    teller.service("online")
    shown.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")
    teller.raw("svc/status", b"[" * 5000)
    shown.wait(CAMBER, "- deg NO DATA, service offline")
    teller.service("online")
    shown.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")
    teller.raw(CAMBER, b"", retain=True)
    shown.wait(CAMBER, "- NO DATA, nothing yet")
    # As it was, for the next client.
    teller.camber(dec="inside")
    teller.tilt(retain=True)


SANITIZED = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")
"""A byte beyond a buffer ends the program."""


@pytest.fixture(scope="module")
def board(real_part, tmp_path_factory):
    """The small board's reader, compiled for this machine."""
    built = tmp_path_factory.mktemp("board") / "host"
    flags = [
        "-std=c++11",
        "-O1",
        *SANITIZED,
        "-Wall",
        "-Wextra",
        "-Wpedantic",
        "-Wconversion",
        "-Werror",
    ]
    source = KIT / "board" / "host.cpp"
    subprocess.run([real_part("g++"), *flags, source, "-o", built], check=True, timeout=60)
    return built


def shell_client(broker, topic):
    return Showing([KIT / "display.sh", topic, BAY, broker.port], topic)


def board_client(broker, board, topic):
    return Showing([board, "127.0.0.1", broker.port, f"{ROOT}/val/{topic}"], topic)


@pytest.fixture(params=["shell", "board"])
def plain_client(request, broker, real_part):
    if request.param == "shell":
        real_part("mosquitto_sub")
        made = shell_client(broker, CAMBER)
    else:
        made = board_client(broker, request.getfixturevalue("board"), CAMBER)
    yield made
    made.stop()


def test_a_client_of_plain_lines_follows_the_story(plain_client, teller):
    def say(line):
        teller.raw(f"val/{CAMBER}", line)

    plain_client.wait(CAMBER, "- NO DATA, nothing yet")
    while plain_client.last[CAMBER] == "- NO DATA, nothing yet":
        say("1.000 0.100 deg none good")  # until it is subscribed: nothing is retained here
        time.sleep(0.05)
    for line, shown in {
        "-0.423 0.059 deg inside good": "-0.423 +/- 0.059 deg INSIDE",
        "0.460 0.059 deg undecided uncertain": "0.460 +/- 0.059 deg UNDECIDED, uncertain",
        "0.90 - mm/m none good": "0.90 +/- ? mm/m NOT JUDGED",
        "- - deg none stale": "- deg NO DATA, stale",
        "0.90 0.06 mm/m outside good": "0.90 +/- 0.06 mm/m OUTSIDE",
        "0.90 0.06 mm/m splendid good": "0.90 +/- 0.06 mm/m NOT JUDGED",
        "0.90 0.06 mm/m inside splendid": "- mm/m NO DATA, splendid",
        "hello": "- NO DATA, unreadable",
    }.items():
        say(line)
        plain_client.wait(CAMBER, shown)
    say(
        "x" * 300
    )  # beyond its 256 bytes: a packet that a small board has no room for is passed over, not cut
    say("-0.423 0.059 deg inside good")
    plain_client.wait(CAMBER, "-0.423 +/- 0.059 deg INSIDE")


def test_a_replayed_capture_reaches_every_client_and_so_does_its_end(
    broker, node, board, real_part, tmp_path
):
    real_part("mosquitto_sub")
    by_json = [
        *python_clients(broker, [CAMBER]),
        *page_clients(broker, node, [CAMBER]),
        *flow_client(broker, node, tmp_path),
    ]
    by_line = [shell_client(broker, CAMBER), board_client(broker, board, CAMBER)]
    words = ("--host", "127.0.0.1", "--port", str(broker.port), "--speed=25", "--plain", "--stay")
    replay = subprocess.Popen(
        [sys.executable, "-m", "ingest.cli", "replay", str(CAPTURE), *words],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        # What `levelhead replay --print` says last of this topic, read off by hand.
        for each in [*by_json, *by_line]:
            each.wait(CAMBER, "-0.068 +/- 0.043 deg NOT JUDGED")
        replay.send_signal(signal.SIGINT)
        replay.communicate(timeout=30)
        for each in by_json:
            each.wait(CAMBER, "- deg NO DATA, service offline")
        for each in by_line:
            each.wait(CAMBER, "- NO DATA, nothing new")
        broker.kill()
        for each in [*by_json, by_line[1]]:  # the shell's knows of lines only
            each.wait(CAMBER, "- NO DATA, no broker")
    finally:
        replay.kill()
        replay.communicate()
        for each in [*by_json, *by_line]:
            each.stop()
