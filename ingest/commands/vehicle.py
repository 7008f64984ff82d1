"""``levelhead vehicle``: vehicle files checked, shown, kept in a store with all their versions."""

import argparse
import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from ingest.commands.headstate import STATE, opened
from ingest.commands.tables import read_text
from ingest.commands.vehicle_source import (
    add_vehicle,
    kept_called,
    shipped,
    vehicle_called,
)
from ingest.commands.vehicle_text import as_json, as_text
from ingest.commands.writing import see_replaceable, write_whole
from ingest.core.errors import InputError
from ingest.job.vehicle.network import unit_network
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.vehicle_file import FORMAT, parse_vehicle
from ingest.payload.vehicle_network import network_file_of
from ingest.store.database import open_database
from ingest.store.vehicles import KeptVehicle, StoredVehicles

MOST_AUTHOR = 80


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the actions, each with its arguments."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    listing = actions.add_parser("list", help="list the shipped vehicles, and those of a store")
    listing.add_argument("--state", type=Path, metavar="DB", help="database that keeps vehicles")
    listing.add_argument("--json", action="store_true", help="print one JSON object")
    listing.set_defaults(act=_list)
    check = actions.add_parser("check", help="say whether a file describes a vehicle that can be")
    check.add_argument("file", metavar="FILE.toml", help="vehicle file; - reads standard input")
    check.set_defaults(act=_check)
    show = actions.add_parser("show", help="sum a vehicle up for people")
    add_vehicle(show)
    show.add_argument("--json", action="store_true", help="print one JSON object")
    show.set_defaults(act=_show)
    network = actions.add_parser("network", help="print the sightline network of a unit, as JSON")
    add_vehicle(network)
    network.add_argument("--unit", metavar="ID", help="which unit, where there are several")
    network.set_defaults(act=_network)
    _store_arguments(actions)


def _store_arguments(actions: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    keep = actions.add_parser("import", help="keep a vehicle file in a store, as a new version")
    keep.add_argument("file", metavar="FILE.toml", help="vehicle file; - reads standard input")
    keep.add_argument("--by", default="", metavar="NAME", help="who answers for it")
    keep.set_defaults(act=_import)
    export = actions.add_parser("export", help="print a version as its file was, byte for byte")
    export.add_argument("vehicle", metavar="ID[@VERSION]", help="without a version the newest")
    export.add_argument("-o", "--output", type=Path, metavar="FILE.toml", help="where to write it")
    export.set_defaults(act=_export)
    for each in (keep, export):
        each.add_argument(
            "--state", type=Path, default=STATE, help="database (default %(default)s)"
        )


def run(args: argparse.Namespace) -> int:
    """Do the action. Raises ``InputError`` or ``ConfigError`` for bad input."""
    return int(args.act(args))


def _list(args: argparse.Namespace) -> int:
    found = {name: parse_vehicle(text, name) for name, text in shipped().items()}
    kept: tuple[KeptVehicle, ...] = ()
    if args.state is not None:
        with opened(args.state) as connection:
            kept = StoredVehicles(connection).newest()
    if args.json:
        print(json.dumps({"shipped": [_row(v) for v in found.values()], "kept": _rows(kept)}))
        return 0
    for name, vehicle in found.items():
        print(f"{name:<24}{vehicle.configuration:<44}{vehicle.name}")
    for each in kept:
        vehicle = parse_vehicle(each.text, each.name)
        by = f", by {each.author}" if each.author else ""
        print(f"{each.name:<24}{vehicle.configuration:<44}{vehicle.name}; {_day(each)}{by}")
    return 0


def _row(vehicle: Vehicle) -> dict[str, object]:
    return {"id": vehicle.id, "name": vehicle.name, "configuration": vehicle.configuration}


def _rows(kept: tuple[KeptVehicle, ...]) -> list[dict[str, object]]:
    return [
        _row(parse_vehicle(each.text, each.name))
        | {"version": each.version, "kept_ms": each.kept_ms, "author": each.author}
        for each in kept
    ]


def _day(kept: KeptVehicle) -> str:
    return datetime.fromtimestamp(kept.kept_ms / 1000, UTC).strftime("%Y-%m-%d")


def _check(args: argparse.Namespace) -> int:
    where, text = read_text(args.file)
    vehicle = parse_vehicle(text, where)
    print(f"{where}: {vehicle.name}, {vehicle.configuration}, can be")
    return 0


def _show(args: argparse.Namespace) -> int:
    vehicle = vehicle_called(args.vehicle, args.state)
    print(json.dumps(as_json(vehicle)) if args.json else as_text(vehicle))
    return 0


def _network(args: argparse.Namespace) -> int:
    vehicle = vehicle_called(args.vehicle, args.state)
    ids = [unit.id for unit in vehicle.units]
    if args.unit is None and len(ids) > 1:
        reason = f"each unit has a network of its own; name one of {', '.join(ids)}"
        raise InputError("--unit", None, reason)
    if args.unit not in (None, *ids):
        raise InputError("--unit", None, f"no unit {args.unit}; there are {', '.join(ids)}")
    unit = vehicle.unit(args.unit or ids[0])
    file = network_file_of(unit_network(vehicle, unit), f"{vehicle.name}: unit {unit.id}")
    print(file.model_dump_json(indent=1, exclude_defaults=True, by_alias=True))
    return 0


def _import(args: argparse.Namespace) -> int:
    where, text = read_text(args.file)
    vehicle = parse_vehicle(text, where)
    author = args.by.strip()
    if len(author) > MOST_AUTHOR or not author.isprintable():
        raise InputError("--by", None, f"a name of at most {MOST_AUTHOR} letters is needed")
    # A store is made where there is none: a vehicle may be kept before the bay was ever run.
    open_database(args.state).close()
    with opened(args.state) as connection:
        now_ms = time.time_ns() // 1_000_000
        kept = StoredVehicles(connection).keep(vehicle.id, text, author, now_ms)
    print(f"{kept.name}: {vehicle.name}, {vehicle.configuration}; kept in {args.state}")
    return 0


def _export(args: argparse.Namespace) -> int:
    kept = kept_called(args.vehicle, args.state)
    if args.output is None:
        sys.stdout.write(kept.text)
        return 0
    see_replaceable(args.output, _is_vehicle, "vehicle file")
    write_whole(args.output, kept.text)
    print(f"{kept.name}: {args.output}")
    return 0


def _is_vehicle(start: bytes) -> bool:
    return FORMAT.encode() in start
