"""``levelhead config``: whether a configuration can be used, and which keys there are."""

import argparse
import contextlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from calibration.records.keys import key_id
from ingest.commands.bay_opening import Opened, open_bay
from ingest.commands.config_findings import Finding, findings
from ingest.config import NO_KEYS, Config, load_config
from ingest.config_keys import template
from ingest.drivers.serial import SerialSettings
from ingest.store.database import open_copy

EXIT_REFUSED = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    check = actions.add_parser(
        "check", help="read a configuration and all that it names, and say what is wrong"
    )
    check.add_argument("config", type=Path, help="configuration file (TOML)")
    check.add_argument("--json", action="store_true", help="print one JSON object")
    actions.add_parser("keys", help="print every key with its default and meaning, as a file")


def run(args: argparse.Namespace) -> int:
    """Exit 0 where the service starts and refuses nothing of it, else 2, a line a finding."""
    if args.action == "keys":
        print(template())
        return 0
    return _check(args)


def _check(args: argparse.Namespace) -> int:
    config = load_config(args.config)
    today = datetime.now(UTC).date()
    with contextlib.closing(open_copy(config.state_file)) as connection:
        opened = open_bay(config, connection, today)
        found = list(findings(opened, connection, today))
    usable = not any(finding.refused for finding in found)
    print(_as_json(opened, found) if args.json else _as_text(args.config, opened, found))
    return 0 if usable else EXIT_REFUSED


def _as_json(opened: Opened, found: list[Finding]) -> str:
    config = opened.config
    return json.dumps(
        {
            "ok": not any(finding.refused for finding in found),
            "bay": config.bay,
            "broker": _broker(config),
            "links": [link.name for link in config.links],
            "keys": [key_id(key) for key in opened.keys],
            "spread": opened.service.bay.wheel.spread.told,
            "study_refused": opened.study if opened.study_refused else None,
            "findings": [{"text": each.text, "refused": each.refused} for each in found],
        }
    )


def _as_text(path: Path, opened: Opened, found: list[Finding]) -> str:
    refused = sum(finding.refused for finding in found)
    head = "usable" if not refused else f"NOT to be served as it is: {refused} refused, see below"
    lines = [f"{path}: {head}", *(f"  {line}" for line in _told(opened))]
    lines += [f"  {'REFUSED: ' if each.refused else ''}{each.text}" for each in found]
    return "\n".join(lines)


def _broker(config: Config) -> str:
    return "embedded, loopback only" if config.embedded else config.broker.where


def _told(opened: Opened) -> Iterator[str]:
    config, wheel = opened.config, opened.service.bay.wheel
    yield f"bay {config.bay}, state in {config.state_file}"
    yield f"broker: {_broker(config)}"
    yield f"spread of mounting and settling: {wheel.spread.told}"
    yield (
        f"clamps sit {wheel.clamp_offset_m * 1e3:g} mm off centre (r.m.s.), which a short roll "
        "leans on"
    )
    if opened.study is not None:
        yield f"study{' refused' if opened.study_refused else ''}: {opened.study}"
    if opened.keys:
        yield f"calibration records signed with {', '.join(map(key_id, opened.keys))}"
    else:
        yield f"calibration records: {NO_KEYS}"
    if config.service.bay.simulated:
        yield "the heads are simulated, and may have records marked SIMULATED"
    for link in config.links:
        speed = f", {link.baud} baud" if isinstance(link, SerialSettings) else ""
        yield f"head at {link.name}{speed}"
    if not config.links:
        yield "no [[head]] yet: levelhead ports lists what is plugged in"
