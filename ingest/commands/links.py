"""Links of every kind, made of their settings. The one place that knows which class is which."""

import asyncio
from collections import defaultdict
from collections.abc import Iterable

from ingest.commands.host import monotonic_ns
from ingest.config_heads import LinkSettings
from ingest.core.ports import Link
from ingest.drivers.ble import BleLink, BleSettings
from ingest.drivers.serial import SerialLink


def make_links(settings: Iterable[LinkSettings]) -> list[Link]:
    """Return a link for each; heads on one Bluetooth adapter share its turn."""
    turns: defaultdict[str | None, asyncio.Lock] = defaultdict(asyncio.Lock)
    links: list[Link] = []
    for each in settings:
        if isinstance(each, BleSettings):
            links.append(BleLink(each, monotonic_ns, turns[each.adapter]))
        else:
            links.append(SerialLink(each, monotonic_ns))
    return links
