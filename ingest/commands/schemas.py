"""``levelhead schemas``: print the contract: JSON Schemas of the payloads and of plain files, and
the AsyncAPI document of the topics, for programs or for people."""

import argparse
import json

from ingest.commands.asyncapi_page import page
from ingest.core.errors import InputError
from ingest.payload.asyncapi import asyncapi
from ingest.payload.schemas import FILES, TOPICS, schema


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    which = parser.add_mutually_exclusive_group()
    which.add_argument("name", nargs="?", help="one schema, such as reading/1 (default: all)")
    which.add_argument(
        "--asyncapi", action="store_true", help="the AsyncAPI 3.0 document of the topics (JSON)"
    )
    which.add_argument("--page", action="store_true", help="the same as one HTML page")


def run(args: argparse.Namespace) -> int:
    """Print one schema, all by name, or the document."""
    if args.page:
        print(page(asyncapi()), end="")
        return 0
    if args.asyncapi:
        print(json.dumps(asyncapi(), indent=2))
        return 0
    names = sorted({name for name, _ in TOPICS.values()} | set(FILES))
    if args.name is None:
        print(json.dumps({name: schema(name) for name in names}, indent=2))
        return 0
    if args.name not in names:
        raise InputError(args.name, None, f"no such schema; there are: {', '.join(names)}")
    print(json.dumps(schema(args.name), indent=2))
    return 0
