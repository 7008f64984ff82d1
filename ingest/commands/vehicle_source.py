"""Where a command takes its vehicle from: a file, the store of a bay, or those that are shipped."""

import argparse
import importlib.resources
from collections.abc import Iterator
from pathlib import Path

from ingest.commands.headstate import opened
from ingest.commands.tables import STANDARD_INPUT, read_text
from ingest.core.errors import InputError
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.vehicle_file import parse_vehicle
from ingest.store.vehicles import KeptVehicle, StoredVehicles

SUFFIX = ".toml"
WHICH = "a vehicle file (TOML), - for stdin, a shipped vehicle, or with --state ID[@VERSION]"


def add_vehicle(parser: argparse.ArgumentParser) -> None:
    """Declare which vehicle, and the store that it may be in."""
    parser.add_argument("vehicle", metavar="VEHICLE", help=WHICH)
    parser.add_argument("--state", type=Path, metavar="DB", help="database that keeps vehicles")


def shipped() -> dict[str, str]:
    """Return the texts of the vehicles that come with the program, by name."""
    return dict(_shipped())


def _shipped() -> Iterator[tuple[str, str]]:
    folder = importlib.resources.files("ingest.job.vehicle") / "examples"
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(SUFFIX):
            yield entry.name.removesuffix(SUFFIX), entry.read_text(encoding="utf-8")


def vehicle_called(which: str, state: Path | None) -> Vehicle:
    """Return the vehicle that a person names. Raises ``InputError``, ``ConfigError``."""
    where, text = text_called(which, state)
    return parse_vehicle(text, where)


def text_called(which: str, state: Path | None) -> tuple[str, str]:
    """Return what a vehicle is called in messages, and the text of its file."""
    if which == STANDARD_INPUT or which.endswith(SUFFIX) or "/" in which or Path(which).is_file():
        return read_text(which)
    if state is not None:
        kept = kept_called(which, state)
        return kept.name, kept.text
    found = shipped()
    if which not in found:
        names = ", ".join(found)
        reason = f"no such file or shipped vehicle; there are {names}; --state names a database"
        raise InputError(which, None, reason)
    return f"{which}{SUFFIX}", found[which]


def kept_called(which: str, state: Path) -> KeptVehicle:
    """Return a version of a vehicle in a store: ``ID``, or ``ID@VERSION``."""
    vehicle_id, at, version = which.partition("@")
    if at and not (version.isascii() and version.isdecimal() and len(version) < 9):
        raise InputError(which, None, "a version is a number, as in rigid-8x4@2")
    with opened(state) as connection:
        store = StoredVehicles(connection)
        kept = store.version(vehicle_id, int(version) if at else None)
        if kept is None:
            names = ", ".join(each.name for each in store.newest()) or "none"
            raise InputError(which, None, f"no such vehicle in {state}; there are {names}")
    return kept
