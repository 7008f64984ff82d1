"""``levelhead calibrate``: bench readings to coefficients, and into a draft record."""

import argparse
import json

from ingest.commands import (
    calibrate_bar,
    calibrate_counts,
    calibrate_encoder,
    calibrate_still,
    calibrate_tilt,
)
from ingest.commands.calibrate_work import Answer, Work

WHAT = {
    "tilt": (calibrate_tilt, "sphere, steps, reversal and oven files of one head, all at once"),
    "encoder": (calibrate_encoder, "a turn against a reference, or rounds of a dividing plate"),
    "counts": (calibrate_counts, "counts of an encoder at known turns: how many, and which way"),
    "bar": (calibrate_bar, "two heads on the reference bar"),
    "still": (calibrate_still, "a recording of a head that nobody touches"),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    kinds = parser.add_subparsers(dest="what", required=True, metavar="WHAT")
    for name, (module, summary) in WHAT.items():
        about = f"{summary[0].upper()}{summary[1:]}."
        sub = kinds.add_parser(name, help=summary, description=about)
        sub.add_argument("--sheet", metavar="SHEET.toml", help="who, for whom, which heads")
        sub.add_argument("--references", metavar="REF.toml", help="the register of references")
        sub.add_argument("--json", action="store_true", help="print one JSON object")
        module.add_arguments(sub)


def run(args: argparse.Namespace) -> int:
    """Fit, write the draft where one is wanted, and print."""
    module, _ = WHAT[args.what]
    answer: Answer = module.find(args, Work.of(args))
    print(json.dumps(answer.as_json) if args.json else answer.text)
    return answer.code
