"""The options of ``levelhead sweep``, and which of them go together."""

import argparse
import math
from collections.abc import Callable
from pathlib import Path

from ingest.commands.sweep_level import add_level_arguments
from ingest.core.errors import InputError
from ingest.core.frames import Side

STEER, PLATE = "steer_deg", "plate_deg"
LONGEST_M = 30.0
"""No vehicle has a longer wheelbase; a larger number is in mm."""


def declare_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE.csv",
        help=f"columns {STEER} (the shaft's heading from straight ahead, left positive; or "
        f"{PLATE}, the turn of the plate) and incl_y_deg, also incl_x_deg where the head is locked "
        "to its shaft; - reads standard input",
    )
    parser.add_argument("--side", choices=[side.value for side in Side])
    parser.add_argument("--left", metavar="L.csv", help="both wheels of an axle: the left one")
    parser.add_argument("--right", metavar="R.csv", help="... and the right one")
    parser.add_argument(
        "--toe-deg",
        type=float,
        default=0.0,
        help="toe of the shaft straight ahead, of each wheel where there are two (default 0)",
    )
    parser.add_argument("--toe-left-deg", type=float, help="where the left one has another")
    parser.add_argument("--toe-right-deg", type=float, help="where the right one has another")
    _add_weighing(parser)
    add_level_arguments(parser)
    parser.add_argument(
        "--drawing", type=Path, metavar="OUT.svg", help="draw readings, fit, and what it leaves"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def _add_weighing(parser: argparse.ArgumentParser) -> None:
    """Declare how readings are weighed and what is fitted."""
    parser.add_argument("--sigma-deg", type=float, help="noise of one tilt, where it is known")
    parser.add_argument(
        "--steer-sigma-deg", type=float, help="noise of the steering (default 0; with --sigma-deg)"
    )
    parser.add_argument(
        "--u-zero-deg",
        type=float,
        default=0.0,
        help="standard uncertainty of straight ahead, and of the toe there (default 0)",
    )
    parser.add_argument(
        "--axle-roll",
        choices=("none", "fitted"),
        default="none",
        help="fitted: a beam axle rolls as it is steered; best with both wheels (default none)",
    )
    parser.add_argument(
        "--swivel",
        choices=("locked", "free"),
        default="locked",
        help="free: the head hangs, and incl_x_deg tells nothing (default locked)",
    )
    parser.add_argument(
        "--max-u-deg",
        type=float,
        help="refuse above this standard uncertainty that noise leaves in caster or SAI (default "
        "0.05, with the axle's roll fitted 0.15); a slip or a roll is not judged by it",
    )
    parser.add_argument("--wheelbase-m", type=float, help="for the turn that scrubs nothing")
    parser.add_argument("--kingpin-spacing-m", type=float, help="... at hub height")


def files_of(args: argparse.Namespace) -> dict[Side, str]:
    """Return which file holds which side."""
    if args.file is None and args.left is not None and args.right is not None:
        if args.side is not None:
            raise InputError("--side", None, "goes with one FILE.csv, not with --left and --right")
        return {Side.LEFT: args.left, Side.RIGHT: args.right}
    if args.left is not None or args.right is not None:
        reason = (
            "both wheels are given by --left L.csv and --right R.csv together, without FILE.csv"
        )
        raise InputError("--left, --right", None, reason)
    if args.file is None:
        raise InputError("FILE.csv", None, "missing; give a file and --side, or --left and --right")
    if args.side is None:
        raise InputError("--side", None, "missing; say left or right")
    return {Side(args.side): args.file}


def check_options(args: argparse.Namespace) -> None:
    """Raise ``InputError`` for a value that cannot be, or options that do not go together."""
    for name in ("sigma_deg", "max_u_deg"):
        _need(name, getattr(args, name), lambda value: value > 0.0, "above 0")
    for name in ("wheelbase_m", "kingpin_spacing_m"):
        metres = f"above 0 and at most {LONGEST_M:g}; give metres"
        _need(name, getattr(args, name), lambda value: 0.0 < value <= LONGEST_M, metres)
    for name in ("steer_sigma_deg", "u_zero_deg"):
        _need(name, getattr(args, name), lambda value: value >= 0.0, "0 or above")
    for name in ("toe_deg", "toe_left_deg", "toe_right_deg"):
        _need(name, getattr(args, name), lambda value: abs(value) <= 10.0, "within 10 deg")
    if args.steer_sigma_deg is not None and args.sigma_deg is None:
        raise InputError("--steer-sigma-deg", None, "goes with --sigma-deg; state both, or neither")
    if (args.wheelbase_m is None) != (args.kingpin_spacing_m is None):
        reason = "go together; give both, or neither"
        raise InputError("--wheelbase-m, --kingpin-spacing-m", None, reason)


def _need(name: str, value: float | None, fits: Callable[[float], bool], allowed: str) -> None:
    if value is not None and not (math.isfinite(value) and fits(value)):
        raise InputError(f"--{name.replace('_', '-')}", None, f"{value} is not {allowed}")
