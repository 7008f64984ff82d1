"""``levelhead ports``: what to write in the configuration, and whether the port is free."""

import fcntl
import json
import os
import tty

import pytest
from serial.tools.list_ports_common import ListPortInfo

from ingest.cli import main
from ingest.drivers import serial_ports


@pytest.fixture
def plug(monkeypatch):
    """Return a function that says which devices are plugged in, each with its description."""

    def plug(*devices):
        ports = []
        for number, (device, description) in enumerate(devices):
            port = ListPortInfo(device, skip_link_detection=True)
            port.vid, port.pid, port.serial_number = 0x1209, 1, f"A{number}"
            port.description = description
            ports.append(port)
        monkeypatch.setattr(serial_ports.list_ports, "comports", lambda: ports)

    return plug


@pytest.fixture
def pty():
    far, near = os.openpty()
    tty.setraw(near)
    yield near, os.ttyname(near)
    os.close(far)
    os.close(near)


def test_says_that_there_is_none(capsys, plug):
    plug()
    assert main(["ports"]) == 0
    assert capsys.readouterr().out.startswith("no serial port is plugged in")
    assert main(["ports", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"ports": []}


def test_lists_free_busy_and_absent_ports_for_programs(capsys, plug, pty, tmp_path):
    near, path = pty
    gone = str(tmp_path / "gone")
    plug((path, "head"), (gone, "left"))
    assert main(["ports", "--json"]) == 0
    free, absent = sorted(
        json.loads(capsys.readouterr().out)["ports"], key=lambda port: port["port"]
    )
    assert free == {
        "port": "usb:1209:0001:A0",
        "device": path,
        "description": "head",
        "state": "free",
        "reason": None,
    }
    assert (absent["state"], absent["reason"]) == ("absent", "there is no such port now")
    fcntl.flock(near, fcntl.LOCK_EX)
    assert main(["ports", "--json"]) == 0
    ports = json.loads(capsys.readouterr().out)["ports"]
    assert {port["device"]: port["state"] for port in ports} == {path: "busy", gone: "absent"}


def test_lists_ports_for_people_whatever_they_call_themselves(capsys, plug, pty, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    plug((pty[1], "[/bold] head [red]"))
    assert main(["ports"]) == 0
    out = capsys.readouterr().out
    assert "usb:1209:0001:A0" in out
    assert "[/bold] head [red]" in out
    assert "free" in out
