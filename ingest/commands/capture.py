"""``levelhead capture``: serve, and keep all that happens in a file."""

import argparse
from pathlib import Path

from ingest.commands.serve import serve
from ingest.config import load_config


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "file", type=Path, metavar="FILE.mcap", help="a new file; never overwritten"
    )
    parser.add_argument("config", type=Path, help="configuration file (TOML), as for serve")
    parser.add_argument("--verbose", action="store_true", help="tell changes of state, too")


def run(args: argparse.Namespace) -> int:
    """Serve and capture until SIGTERM or SIGINT. Exit 2 when file or configuration is no good."""
    return serve(load_config(args.config), capture=args.file, verbose=args.verbose)
