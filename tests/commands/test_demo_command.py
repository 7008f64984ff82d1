"""``levelhead demo`` as a process of its own, heard by a foreign MQTT client where there is one."""

import json
import re
import shutil
import subprocess
import sys

import pytest

SEED = "23"
TREE = {
    "svc/status",
    "svc/meta",
    "head/alder/status",
    "head/alder/meta",
    "head/alder/link",
    "head/alder/runout",
    "head/alder/incl_y",
    "cal/alder/latest",
    "axle/1/left/camber",
    "axle/1/both/total-toe",
}


def listen(port, into):
    """Start Debian's ``mosquitto_sub`` on the whole tree, where it is installed."""
    client = shutil.which("mosquitto_sub")
    if client is None:
        return None
    words = [client, "-p", port, "-t", "levelhead/v1/#", "-F", "%t %p"]
    return subprocess.Popen(words, stdout=into)


@pytest.mark.timeout(240)
def test_the_whole_job_agrees_with_the_truth_and_a_foreign_client_sees_the_tree(tmp_path):
    words = [sys.executable, "-u", "-m", "ingest.cli", "demo", "--seed", SEED]
    demo = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    told, listener, heard = [], None, tmp_path / "heard"
    try:
        with heard.open("wb") as into:
            for line in demo.stdout:
                told.append(line)
                port = re.search(r"mosquitto_sub -p (\d+)", line)
                if port:
                    listener = listen(port[1], into)
        _, errors = demo.communicate(timeout=30)
    finally:
        demo.kill()
        demo.communicate()
        if listener is not None:
            listener.terminate()
            listener.wait(timeout=30)
    assert (demo.returncode, errors) == (0, ""), "".join(told)
    assert any("results and truth agree within" in line for line in told)
    assert any("error / U" in line for line in told)
    check_rows("".join(told).translate(str.maketrans("−", "-")))
    if listener is not None:
        check_tree(heard.read_text().splitlines())


ROW = r"\((-?[\d.]+) ± ([\d.]+)\)° │ ([+-][\d.]+)° │ +([+-][\d.]+) │"


def check_rows(told):
    """Hold what was published against the truth by hand: the verdict uses unrounded figures."""
    rows = [[float(figure) for figure in row] for row in re.findall(ROW, told)]
    assert len(rows) > 8
    for value, u, truth, ratio in rows:
        assert (value - truth) / u == pytest.approx(ratio, abs=0.06)


def check_tree(lines):
    messages = [line.split(" ", 1) for line in lines]
    seen = {topic.removeprefix("levelhead/v1/demo/") for topic, payload in messages if payload}
    assert seen >= TREE
    will = ("levelhead/v1/demo/svc/status", "connection-lost")
    for topic, payload in messages:
        # A will is written before its time is known; a broker says it on a starved machine.
        if payload and (topic, json.loads(payload).get("why")) != will:
            assert ("id" if "/cmd/" in topic else "t") in json.loads(payload), topic
    last = [json.loads(p) for t, p in messages if t.endswith("svc/status") and p][-1]
    assert (last["state"], last["why"]) == ("offline", "stopped")
