"""``levelhead ports``: list serial ports by what to write in the configuration."""

import argparse
import json

import serial
from rich.console import Console
from rich.table import Table

from ingest.core.errors import LinkError, LinkNotFound
from ingest.drivers.serial_errors import PORT_ERRORS, translate
from ingest.drivers.serial_ports import SerialPort, list_serial_ports


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--json", action="store_true", help="print one JSON array")


def run(args: argparse.Namespace) -> int:
    """List the ports that are there now. Exit 0, also when there are none."""
    found = [(port, state_of(port)) for port in list_serial_ports()]
    if args.json:
        print(json.dumps([as_json(port, state) for port, state in found]))
    elif not found:
        print("no serial port is plugged in; a head on a network is socket://HOST:PORT")
    else:
        Console().print(as_table(found))
    return 0


def state_of(port: SerialPort) -> str:
    """Say whether a port could be opened now. It is opened for a moment, without a byte sent."""
    try:
        serial.Serial(port.device, exclusive=True, timeout=0).close()
    except PORT_ERRORS as error:
        failure: LinkError = translate(port.device, error, LinkNotFound)
        return failure.reason
    return "free"


def as_json(port: SerialPort, state: str) -> dict[str, str]:
    """Return one port for programs."""
    return {
        "port": port.address,
        "device": port.device,
        "description": port.description,
        "state": state,
    }


def as_table(found: list[tuple[SerialPort, str]]) -> Table:
    """Return the ports for people."""
    table = Table()
    for title in ("port = (for the configuration)", "device now", "description", "state"):
        table.add_column(title)
    for port, state in found:
        table.add_row(port.address, port.device, port.description, state)
    return table
