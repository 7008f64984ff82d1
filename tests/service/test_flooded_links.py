"""One link is flooded by another process, on real ptys: the head beside it loses nothing."""

import asyncio
import contextlib
import os
import subprocess
import sys
import time
import tty

import pytest

from ingest.commands.demo_rig import build
from ingest.core.ids import BootId, HeadId, HeadName, MonotonicNs
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.wire.codes import status_byte
from ingest.wire.framing import frame
from ingest.wire.hello import Hello
from ingest.wire.messages import encode
from ingest.wire.sample import encode_sample

LIAR, BOOT = HeadId("00000000000bad01"), BootId(8)
PATIENCE_S = 60.0
FLOOD = """
import os, sys
fd, data = int(sys.argv[1]), bytes.fromhex(sys.argv[2])
while True:
    os.write(fd, data)
"""


class Outlet:
    """An outlet that tells when there was something."""

    def __init__(self):
        self.news = asyncio.Event()

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.news.set()

    async def until(self, holds):
        async with asyncio.timeout(PATIENCE_S):
            while not holds():
                self.news.clear()
                await self.news.wait()

    def reply(self, request, payload):
        raise AssertionError("nobody asked")


def now_ns():
    return MonotonicNs(time.monotonic_ns())


def sound_flood():
    samples = (encode_sample(0, status_byte(BOOT), n, n * 10_000, (n,) * 4) for n in range(100))
    return frame(encode(Hello(LIAR, BOOT, "6"))) + b"".join(map(frame, samples))


@contextlib.contextmanager
def flooded(data):
    """Yield a port into which another process writes as fast as anybody reads."""
    master, slave = os.openpty()
    tty.setraw(slave)
    path = os.ttyname(slave)
    writer = subprocess.Popen(
        [sys.executable, "-c", FLOOD, str(master), data.hex()], pass_fds=[master]
    )
    try:
        yield path
    finally:
        writer.kill()
        writer.wait()
        os.close(slave)
        os.close(master)


@pytest.mark.parametrize("data", [sound_flood(), bytes(range(256)) * 16], ids=["sound", "garbage"])
def test_a_flooded_link_starves_no_other(data, live_service):
    started_s = time.monotonic()
    demo = build(5, "rigid-8x4", lambda: time.monotonic() - started_s)
    honest = demo.ptys["alder"]
    honest.firmware.faults.plan = type(honest.firmware.faults.plan)()

    async def scene(path):
        store = open_database(":memory:")
        StoredHeadNames(store).set_name(demo.heads["alder"].design.head, HeadName("alder"))
        ports = {"honest": honest.plug(), "flooded": path}
        outlet = Outlet()
        links = {n: SerialLink(SerialSettings(p), now_ns) for n, p in ports.items()}
        service = live_service("flood", links, outlet, store)
        tasks = [asyncio.create_task(each) for each in (honest.run(), service.run())]
        slots = service.bay.slots
        heard = slots["honest"].counters
        await outlet.until(lambda: heard.samples > 100)
        before, goal = heard.lost, heard.samples + 300
        await outlet.until(lambda: heard.samples > goal and "flood-2" in service.bay.alerts.active)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        honest.unplug()
        store.close()
        return heard, before

    with flooded(data) as path:
        counters, before = asyncio.run(scene(path))
    assert counters.lost == before
    assert counters.dropped == 0
    assert counters.faults.total() == 0
