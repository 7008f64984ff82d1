"""``levelhead config``: whether a configuration can be used, and which keys there are."""

import argparse
import json
from pathlib import Path

from calibration.records.keys import key_id
from ingest.commands.bay_study import with_study
from ingest.commands.keyfiles import load_public
from ingest.config import NO_KEYS, load_config
from ingest.config_keys import template
from ingest.drivers.serial import SerialSettings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    check = actions.add_parser("check", help="read a configuration and say what is wrong")
    check.add_argument("config", type=Path, help="configuration file (TOML)")
    check.add_argument("--json", action="store_true", help="print one JSON object")
    actions.add_parser("keys", help="print every key with its default and meaning, as a file")


def run(args: argparse.Namespace) -> int:
    """Exit 0 for a usable configuration; the error of an unusable one says what to do."""
    if args.action == "keys":
        print(template())
        return 0
    return _check(args)


def _check(args: argparse.Namespace) -> int:
    config = load_config(args.config)
    keys = [key_id(key) for key in load_public(config.keys).values()]
    settings, refused = with_study(config.service, config.study, config.bay)
    spread = settings.bay.wheel.spread.told
    broker = "embedded, loopback only" if config.embedded else config.broker.where
    if args.json:
        print(
            json.dumps(
                {
                    "ok": True,
                    "bay": config.bay,
                    "broker": broker,
                    "links": [link.name for link in config.links],
                    "keys": keys,
                    "spread": spread,
                    "study_refused": refused,
                }
            )
        )
        return 0
    print(f"{args.config}: usable")
    print(f"  bay {config.bay}, state in {config.state_file}")
    print(f"  broker: {broker}")
    print(f"  spread of mounting and settling: {spread}")
    offset_mm = settings.bay.wheel.clamp_offset_m * 1e3
    print(f"  clamps sit {offset_mm:g} mm off centre (r.m.s.), which a short roll leans on")
    if refused is not None:
        print(f"  study refused: {refused}")
    if keys:
        print(f"  calibration records signed with {', '.join(keys)}")
    else:
        print(f"  calibration records: {NO_KEYS}")
    if config.service.bay.simulated:
        print("  the heads are simulated, and may have records marked SIMULATED")
    for link in config.links:
        speed = f", {link.baud} baud" if isinstance(link, SerialSettings) else ""
        print(f"  head at {link.name}{speed}")
    if not config.links:
        print("  no [[head]] yet: levelhead ports lists what is plugged in")
    return 0
