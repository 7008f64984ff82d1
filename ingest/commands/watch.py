"""``levelhead watch``: live values of a bay in the terminal."""

import argparse
import asyncio
import json
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from calibration.reporting import on_screen
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import Topics

REFRESH_HZ = 5.0
CHANNELS = ("incl_x", "incl_y", "rotation", "azimuth_cross", "temperature")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--bay", default="bay1", help="which bay (default bay1)")
    parser.add_argument("--host", default="127.0.0.1", help="broker (default this machine)")
    parser.add_argument("--port", type=int, default=1883, help="its port (default 1883)")
    parser.add_argument("--user", help="user name at the broker")
    parser.add_argument("--password-file", type=Path, help="file that holds the password alone")
    parser.add_argument("--for-s", type=float, help="stop after so many seconds")


def run(args: argparse.Namespace) -> int:
    """Watch until Ctrl-C. Exit 2 when the broker cannot be reached."""
    broker = BrokerSettings(
        host=args.host, port=args.port, user=args.user, password_file=args.password_file
    )
    asyncio.run(_watch(broker, Topics(args.bay), args.for_s))
    return 0


@dataclass(slots=True)
class _Heard:
    """The newest message of a topic, and when it came by our own clock."""

    fields: dict[str, Any]
    at_s: float
    retained: bool

    def state(self, now_s: float) -> str:
        """Return how far a live value can be believed: a retained one is the last known."""
        ttl_s = self.fields.get("ttl") or 0.0
        if self.retained and ttl_s:
            return "last known"
        if ttl_s and now_s - self.at_s > ttl_s:
            return "stale"
        why = self.fields.get("why") or ""
        return f"{self.fields.get('q', '')} {why}".strip()


@dataclass(slots=True)
class Screen:
    """What was heard, and how it looks."""

    topics: Topics
    connected: bool = False
    heard: dict[tuple[str, ...], _Heard] = field(default_factory=dict)

    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        """Take a message; an empty one clears its topic."""
        place = tuple(topic.removeprefix(f"{self.topics.root}/").split("/"))
        try:
            fields = json.loads(payload) if payload else None
        except ValueError:
            return
        if isinstance(fields, dict):
            self.heard[place] = _Heard(fields, time.monotonic(), retained)
        else:
            self.heard.pop(place, None)

    def render(self) -> Group:
        """Return the whole screen."""
        link = "connected" if self.connected else "NOT CONNECTED: nothing below is live"
        return Group(
            Text(f"bay {self.topics.bay}: {link}", style="bold"), self._heads(), self._results()
        )

    def _heads(self) -> Table:
        table = Table(title="measuring heads", title_justify="left")
        table.add_column("head")
        table.add_column("wheel")
        for channel in CHANNELS:
            table.add_column(channel, justify="right")
        table.add_column("state")
        now_s = time.monotonic()
        for name in sorted({p[1] for p in self.heard if p[0] == "head" and p[2] == "status"}):
            status = self.heard["head", name, "status"].fields
            wheel = f"axle {status['axle']} {status['side']}" if status.get("axle") else "-"
            cells = [self._cell(("head", name, channel), now_s) for channel in CHANNELS]
            state = f"{status.get('state')} {status.get('why') or ''}".strip()
            table.add_row(name, wheel, *cells, state)
        return table

    def _cell(self, place: tuple[str, ...], now_s: float) -> str:
        heard = self.heard.get(place)
        if heard is None or heard.fields.get("value") is None:
            return "-"
        state = heard.state(now_s)
        if state in ("stale", "last known"):
            return f"({state})"
        value, dp = heard.fields["value"], heard.fields.get("dp", 3)
        mark = "" if heard.fields.get("still") else " ~"
        return on_screen(f"{value:+.{dp}f}") + mark

    def _results(self) -> Table:
        table = Table(title="results (settled wheels)", title_justify="left")
        for column in ("axle", "side", "quantity", "value", "quality", "decision"):
            table.add_column(column)
        for place in sorted(p for p in self.heard if p[0] == "axle"):
            fields = self.heard[place].fields
            quality = f"{fields.get('q')} {fields.get('why') or ''}".strip()
            trusted = fields.get("q") in ("good", "uncertain")
            text = on_screen(str(fields.get("text"))) if trusted else "-"
            table.add_row(*place[1:4], text, quality, str(fields.get("dec")))
        return table


async def _watch(broker: BrokerSettings, topics: Topics, for_s: float | None) -> None:
    screen = Screen(topics)

    def connection(up: bool) -> None:
        screen.connected = up

    listener = Listener(broker, topics, [f"{topics.root}/#"], screen.hear, connection)
    await listener.start()
    ends_s = None if for_s is None else time.monotonic() + for_s
    try:
        with Live(screen.render(), console=Console(), refresh_per_second=REFRESH_HZ) as live:
            while ends_s is None or time.monotonic() < ends_s:
                await asyncio.sleep(1.0 / REFRESH_HZ)
                live.update(screen.render())
    finally:
        await listener.stop()
