"""``levelhead limits``: sets of limits, kept version by version."""

import argparse
import re
from pathlib import Path

from calibration.decision import Rule
from ingest.commands import limits_acts, limits_judge
from ingest.commands.headstate import STATE
from ingest.job.limits.limit import EVERY, ROLES, VEHICLE
from ingest.job.limits.units import EnteredUnit

SET = "a set: its name, or name@version"
AXLE = f"number from the front, {', '.join(ROLES)}, {EVERY}, or {VEHICLE}"
UNITS = "|".join(EnteredUnit)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the actions, each with its arguments."""
    parser.epilog = "What the vehicle maker says comes before every set that levelhead brings."
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    for name, (words, declare, act) in ACTIONS.items():
        each = actions.add_parser(name, help=words, description=f"{words[0].upper()}{words[1:]}.")
        # argparse knows -1.5 as a number, but takes -1/16 and -0:05 for options.
        each._negative_number_matcher = re.compile(r"^-\d.*$|^-\.\d+$")
        declare(each)
        each.add_argument("--state", type=Path, default=STATE, help="database (%(default)s)")
        each.add_argument("--json", action="store_true", help="print one JSON object")
        each.set_defaults(act=act)


def run(args: argparse.Namespace) -> int:
    """Do the action and print what came of it."""
    print(args.act(args))
    return 0


def _list(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", nargs="?", help="its versions; else all sets")


def _show(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("set", metavar="SET", help=SET)


def _compare(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("first", metavar="FIRST", help=SET)
    parser.add_argument("second", metavar="SECOND", help=SET)


def _export(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("set", metavar="SET", help=SET)
    parser.add_argument("--csv", action="store_true", help="the figures alone, as CSV")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="(standard output)")


def _by(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--author", metavar="WHO", required=True, help="who does this")
    parser.add_argument("--on", metavar="DAY", help="the day it is dated (today)")


def _new(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", help="1 to 32 of a-z, 0-9, _ and -")
    parser.add_argument("--note", default="", help="one line about the set")
    parser.add_argument("--rule", metavar="RULE", help=f"{'|'.join(Rule)} ({Rule.GUARD_U})")
    _by(parser)


def _save_as(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("set", metavar="SET", help=SET)
    parser.add_argument("name", metavar="NAME", help="the new name")
    parser.add_argument("--note", help="one line about the set (that of the old one)")
    _by(parser)


def _set(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", help="the set")
    parser.add_argument("quantity", metavar="QUANTITY", help="camber, total_toe, caster, ...")
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--axle", metavar="AXLE", help=AXLE)
    where.add_argument(
        "--all-axles", action="store_true", help="change every limit of it that there is"
    )
    parser.add_argument("--side", metavar="SIDE", help="left or right (both)")
    parser.add_argument("--load", metavar="STATE", help="laden, unladen or any (any)")
    for figure in ("low", "nominal", "high"):
        parser.add_argument(f"--{figure}", metavar="X", help="0.15, 0:05.5 or 1/16; none drops it")
    parser.add_argument("--unit", metavar="UNIT", help=UNITS)
    parser.add_argument("--across", metavar="D", help="what mm or in are across, as '22.5 in'")
    parser.add_argument("--source", metavar="TEXT", help="where the figures are from")
    parser.add_argument("--remove", action="store_true", help="take this limit out")
    _by(parser)


def _rule(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", help="the set")
    parser.add_argument("rule", metavar="RULE", help="|".join(Rule))
    _by(parser)


def _narrow(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", help="the set")
    parser.add_argument("factor", metavar="FACTOR", help="above 0, at most 1; 0.5 halves them")
    _by(parser)


def _undo(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", help="the set")
    parser.add_argument("--to", metavar="N", type=int, help="back to this version (one step)")
    _by(parser)


def _import(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help=".toml a set, .csv figures; - for stdin")
    parser.add_argument("--csv", action="store_true", help="it is CSV, whatever its name is")
    parser.add_argument("--name", metavar="NAME", help="under which name (the file's)")
    parser.add_argument("--note", help="one line about the set")
    parser.add_argument("--rule", metavar="RULE", help=f"of a CSV: {'|'.join(Rule)}")
    parser.add_argument("--author", metavar="WHO", help="who does this (the file's author)")
    parser.add_argument("--on", metavar="DAY", help="the day it is dated (today)")


def _judge(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("set", metavar="SET", help=SET)
    parser.add_argument("quantity", metavar="QUANTITY", help="camber, total_toe, caster, ...")
    parser.add_argument("--axle", metavar="N", help="its number; none for the vehicle")
    parser.add_argument("--role", metavar="ROLE", help=f"what the axle is: {', '.join(ROLES)}")
    parser.add_argument("--side", metavar="SIDE", help="left or right, where it has sides")
    parser.add_argument("--load", metavar="STATE", help="laden or unladen (not known)")
    parser.add_argument("--value", metavar="V", required=True, help="the measured value")
    parser.add_argument("--u", metavar="U", required=True, help="its standard uncertainty")
    parser.add_argument("--unit", metavar="UNIT", help=f"of both: {UNITS} (deg, or mm)")
    parser.add_argument("--across", metavar="D", help="what mm or in are across, as '22.5 in'")


ACTIONS = {
    "list": ("list the sets, or the versions of one", _list, limits_acts.list_sets),
    "show": ("show a set, every figure with its source", _show, limits_acts.show),
    "compare": ("say in what two sets differ", _compare, limits_acts.compare_sets),
    "new": ("author a set from nothing", _new, limits_acts.new),
    "save-as": ("save a set under a new name", _save_as, limits_acts.save_as),
    "set": ("change, add or take out a limit", _set, limits_acts.set_figure),
    "rule": ("change the decision rule", _rule, limits_acts.change_rule),
    "narrow": ("narrow every tolerance by a factor", _narrow, limits_acts.narrow),
    "undo": ("go back to an earlier version, as a new one", _undo, limits_acts.undo),
    "import": ("keep a set that a file holds", _import, limits_acts.import_file),
    "export": ("write a set as TOML, or its figures as CSV", _export, limits_acts.export),
    "judge": ("hold a measured value to a set", _judge, limits_judge.judge_value),
}
"""Words, arguments and function of each action."""
