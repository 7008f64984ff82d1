"""``levelhead demo`` as a process of its own, heard by a foreign MQTT client where there is one."""

import json
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from ingest.cli import main
from ingest.payload.job_record import load_job_record

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
    "job/state",
    "job/guidance",
    "job/advice",
}


def listen(port, into):
    """Start Debian's ``mosquitto_sub`` on the whole tree, where it is installed."""
    client = shutil.which("mosquitto_sub")
    if client is None:
        return None
    words = [client, "-p", port, "-t", "levelhead/v1/#", "-F", "%t %p"]
    return subprocess.Popen(words, stdout=into)


@pytest.mark.timeout(240)
def test_a_whole_alignment_agrees_with_the_truth_and_a_foreign_client_sees_the_tree(tmp_path):
    words = [sys.executable, "-u", "-m", "ingest.cli", "demo", "--seed", SEED]
    words += ["--vehicle", "rigid-4x2", "--report", str(tmp_path)]
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
    text = "".join(told).translate(str.maketrans("\u2212", "-"))
    assert " ".join(text.split()).count("truth agree within") == 2
    check_rows(text)
    check_papers(tmp_path, text)
    if listener is not None:
        check_tree(heard.read_text().splitlines())


STATE = r"\((-?[\d.]+) ± ([\d.]+)\)° +([+-][\d.]+)°"


def check_rows(told):
    """Hold what was printed against the printed truth, as found and as left."""
    rows = re.findall(rf"^ axle .*?{STATE} .*?{STATE} *$", told, re.MULTILINE)
    assert len(rows) > 8
    for row in rows:
        for value, u, truth in (map(float, row[:3]), map(float, row[3:])):
            assert abs(value - truth) < 2.0 * u, row


def check_papers(folder, told):
    """The record proves an alignment that was made by what was advised, and says so."""
    (path,) = folder.glob("*.json")
    record = load_job_record(path.read_text(), str(path))
    assert record.software.startswith("levelhead ")
    job = record.replayed()
    assert job.closed is not None
    assert job.closed.finished
    assert job.opened.simulated
    turned = {each.task.quantity for each in job.adjustments}
    assert turned == {"axle_heading", "total_toe", "steering_wheel"}
    assert abs(job.left["axle/2/both/heading"].value) < abs(job.found["axle/2/both/heading"].value)
    assert {p.suffix for p in folder.iterdir()} - {""} == {".json", ".pdf", ".html"}
    assert str(path.with_suffix(".pdf")) in "".join(told.splitlines())


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


@pytest.mark.parametrize("command", ["demo", "practice"])
def test_a_folder_that_is_not_there_is_told_before_anything_begins(command, tmp_path, capsys):
    assert main([command, "--report", str(tmp_path / "no")]) == 2
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert "no such folder" in said.err


def test_a_folder_that_takes_nothing_is_told_before_anything_begins(capsys):
    assert main(["demo", "--report", "/proc"]) == 2
    assert "/proc: cannot be written to" in capsys.readouterr().err


def test_a_port_in_use_ends_in_one_line(capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert main(["demo", "--port", str(taken.getsockname()[1])]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_short_name_of_a_vehicle_is_taken(capsys):
    assert main(["demo", "--vehicle", "tractor-trailer", "--report", str(Path("/proc"))]) == 2
    assert "/proc" in capsys.readouterr().err
