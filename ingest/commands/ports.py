"""``levelhead ports``: list ports, or heads, by what to write in the configuration."""

import argparse
import asyncio
import json
from collections.abc import Iterable
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table
from rich.text import Text

from ingest.core.errors import LinkError
from ingest.core.ids import MonotonicNs
from ingest.drivers.ble_scan import SeenHead, list_ble_heads
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.drivers.serial_ports import SerialPort, list_serial_ports
from ingest.service.linkkeeper import state_after


@dataclass(frozen=True, slots=True)
class Found:
    """A port, and whether it could be opened: ``free``, or a link's state and its reason."""

    port: SerialPort
    state: str
    reason: str | None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--ble", action="store_true", help="list heads that advertise over Bluetooth LE instead"
    )


def run(args: argparse.Namespace) -> int:
    """List what is there now. Exit 0, also when there is nothing."""
    return run_ble(args.json) if args.ble else run_serial(args.json)


def run_ble(wants_json: bool) -> int:
    """List heads that advertise."""
    heads = asyncio.run(list_ble_heads())
    if wants_json:
        print(json.dumps({"heads": [as_seen(head) for head in heads]}))
    elif not heads:
        print("no head advertises; is it on, near, and not held by another host?")
    else:
        table = Table("ble = (for the configuration)", "or its name", "signal")
        for head in heads:
            table.add_row(Text(head.address), Text(head.name), f"{head.rssi_dbm} dBm")
        Console().print(table)
    return 0


def as_seen(head: SeenHead) -> dict[str, str | int]:
    """Return one head for programs."""
    return {"ble": head.address, "name": head.name, "rssi_dbm": head.rssi_dbm}


def run_serial(wants_json: bool) -> int:
    """List serial ports."""
    found = asyncio.run(look(list_serial_ports()))
    if wants_json:
        print(json.dumps({"ports": [as_json(one) for one in found]}))
    elif not found:
        print("no serial port is plugged in; a head on a network is socket://HOST:PORT")
    else:
        Console().print(as_table(found))
    return 0


async def look(ports: Iterable[SerialPort]) -> list[Found]:
    """Open every port for a moment, all at once. No byte is sent.

    A board may restart when its port is opened. A port in use is left as it is.
    """
    return await asyncio.gather(*(look_at(port) for port in ports))


async def look_at(port: SerialPort) -> Found:
    """Open one port for a moment."""
    link = SerialLink(SerialSettings(port.device), no_time)
    try:
        await link.open()
    except LinkError as error:
        return Found(port, state_after(error).value, error.reason)
    finally:
        await link.close()
    return Found(port, "free", None)


def no_time() -> MonotonicNs:
    """Stand for a clock: what arrives meanwhile is not kept, and needs no time."""
    return MonotonicNs(0)


def as_json(found: Found) -> dict[str, str | None]:
    """Return one port for programs."""
    return {
        "port": found.port.address,
        "device": found.port.device,
        "description": found.port.description,
        "state": found.state,
        "reason": found.reason,
    }


def as_table(found: Iterable[Found]) -> Table:
    """Return the ports for people."""
    table = Table()
    for title in ("port = (for the configuration)", "device now", "description", "state"):
        table.add_column(title, overflow="fold")
    for one in found:
        port = one.port
        cells = (port.address, port.device, port.description, one.reason or one.state)
        table.add_row(*map(Text, cells))
    return table
