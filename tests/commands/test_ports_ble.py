"""``levelhead ports --ble``: which heads advertise, seen through a real bus and a played BlueZ."""

import asyncio
import json
import threading

import pytest

from ingest.cli import main
from ingest.commands import ports
from ingest.commands.demo_rig import build
from ingest.drivers import ble_scan
from ingest.simulator.bluez.blehead import BleHead
from ingest.simulator.bluez.bus import private_bus
from ingest.simulator.bluez.daemon import FakeBluez

ADDRESSES = ["02:00:00:00:10:01", "02:00:00:00:10:02"]


@pytest.fixture
def radio(real_part, monkeypatch):
    """Play two heads in a thread; yield their names. The scan is short."""
    real_part("dbus-daemon")
    ptys = list(build(5, "rigid-8x4", lambda: 0.0).ptys.values())
    heads = [
        BleHead(pty.firmware, lambda: 0.0, address)
        for pty, address in zip(ptys, ADDRESSES, strict=False)
    ]

    async def short_scan():
        return await ble_scan.list_ble_heads(1.0)

    monkeypatch.setattr(ports, "list_ble_heads", short_scan)
    with private_bus() as address:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
        ready, over = threading.Event(), threading.Event()

        async def play():
            fake = FakeBluez(address, heads)
            await fake.start()
            running = asyncio.create_task(fake.run())
            ready.set()
            await asyncio.to_thread(over.wait)
            running.cancel()
            await fake.die()

        thread = threading.Thread(target=lambda: asyncio.run(play()))
        thread.start()
        ready.wait(5)
        yield [head.name for head in heads]
        over.set()
        thread.join()


@pytest.mark.real
def test_lists_heads_that_advertise(radio, capsys):
    assert main(["ports", "--ble", "--json"]) == 0
    heads = json.loads(capsys.readouterr().out)["heads"]
    assert {(head["ble"], head["name"]) for head in heads} == set(
        zip(ADDRESSES, radio, strict=True)
    )
    assert all(head["rssi_dbm"] < 0 for head in heads)
    assert main(["ports", "--ble"]) == 0
    assert radio[0] in capsys.readouterr().out


def test_a_machine_without_bluetooth_is_told_in_one_line(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/none")
    assert main(["ports", "--ble"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "no Bluetooth service" in said
