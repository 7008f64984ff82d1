"""``levelhead schemas``: print the JSON Schemas of the payloads and of plain files."""

import argparse
import json

from ingest.core.errors import InputError
from ingest.payload.schemas import FILES, TOPICS, schema


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("name", nargs="?", help="one schema, such as reading/1 (default: all)")


def run(args: argparse.Namespace) -> int:
    """Print one schema, or all by name."""
    names = sorted({name for name, _ in TOPICS.values()} | set(FILES))
    if args.name is None:
        print(json.dumps({name: schema(name) for name in names}, indent=2))
        return 0
    if args.name not in names:
        raise InputError(args.name, None, f"no such schema; there are: {', '.join(names)}")
    print(json.dumps(schema(args.name), indent=2))
    return 0
