"""``levelhead network``: where every wheel points, from sightlines and tape distances."""

import argparse
import json
from pathlib import Path

from ingest.commands.network_answer import answer
from ingest.commands.network_drawing import drawn
from ingest.commands.network_json import as_json
from ingest.commands.network_notes import notes
from ingest.commands.network_text import as_text
from ingest.commands.tables import read_text
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError
from ingest.payload.network_file import NetworkFileError, parse_network_file
from ingest.payload.network_read import network_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the file, and what is wanted of it."""
    parser.add_argument(
        "file", metavar="FILE.json", help="stations and observations; - reads standard input"
    )
    parser.add_argument(
        "--design",
        action="store_true",
        help="nothing was read yet: say how well the planned readings would determine what",
    )
    parser.add_argument(
        "--drawing", type=Path, metavar="OUT.svg", help="draw stations, sightlines and ellipses"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Adjust and print. A refused measurement and bad input leave by their errors."""
    name, text = read_text(args.file)
    try:
        network = network_of(parse_network_file(text), design=args.design)
    except NetworkFileError as error:
        raise InputError(name, None, str(error)) from error
    found = answer(network, design=args.design)
    said = notes(found, design=args.design)
    if args.drawing is not None:
        write_whole(args.drawing, drawn(found, design=args.design))
    if args.json:
        print(json.dumps(as_json(found, design=args.design) | {"notes": said}))
    else:
        print(as_text(found, said, design=args.design))
    return 0
