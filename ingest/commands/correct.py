"""``levelhead correct``: what to turn, which way and how much, from a plain file."""

import argparse
import json
from pathlib import Path

from ingest.commands.correct_drawing import drawn
from ingest.commands.correct_text import as_json, as_text
from ingest.commands.tables import read_text
from ingest.commands.writing import write_whole
from ingest.payload.correction import parse_correction


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "file", metavar="FILE.json", help="measured value, target, adjuster; - for stdin"
    )
    parser.add_argument(
        "--drawing", type=Path, metavar="OUT.svg", help="draw a work sheet of the steps"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Work the correction out and print it.

    Raises: ``InputError``, ``ConfigError`` or ``CalibrationFileError`` for bad input,
    ``MeasurementRefused`` where the adjuster cannot do it.
    """
    where, text = read_text(args.file)
    file = parse_correction(text, where)
    correction = file.correct()
    if args.drawing is not None:
        write_whole(args.drawing, drawn(file, correction))
    if args.json:
        print(json.dumps(as_json(file.adjuster.kind, correction)))
    else:
        print(as_text(correction))
    return 0
