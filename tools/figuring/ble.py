"""Bluetooth LE without a radio: a played BlueZ in a process of its own, the driver in ours.

Run as a process (``ble.py ADDRESS MTU``) it plays the heads on the bus at that address.
"""

import asyncio
import contextlib
import os
import subprocess
import sys
import time

import numpy as np
from rows import row

from ingest.commands.demo_rig import build, wall_clock
from ingest.core.blocks import RawRun
from ingest.core.counters import LinkCounters
from ingest.core.errors import InputError
from ingest.core.ports import LinkForm
from ingest.drivers.ble import BleLink, BleSettings
from ingest.simulator.bluez.blehead import BleHead
from ingest.simulator.bluez.bus import private_bus
from ingest.simulator.bluez.daemon import FakeBluez
from ingest.simulator.faults import FaultPlan
from ingest.wire.decoder import Decoder

RATE_HZ = 200.0
ADDRESSES = [f"02:00:00:00:10:{at:02x}" for at in range(4)]
MTUS = (23, 247)
SEED = 17


def ble(quick):
    """Four heads at 200 samples a second over Bluetooth LE (played), into the driver."""
    seconds = 3.0 if quick else 10.0
    rows = []
    try:
        for mtu in MTUS:
            rows += _measured(mtu, seconds)
    except InputError as error:
        return [row(f"ble: skipped, {error}", None, "")]
    return rows


def _measured(mtu, seconds):
    with private_bus() as address, _played(address, mtu):
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = address
        busy_s, taken = asyncio.run(_listen(seconds))
    samples = sum(len(seq) for seq, _ in taken)
    missing = sum(int((np.diff(seq) % 65536 - 1).sum()) for seq, _ in taken)
    longest_ms = max(float(np.diff(arrived).max()) * 1e-6 for _, arrived in taken)
    due = len(ADDRESSES) * RATE_HZ
    name = f"MTU {mtu}"
    return [
        row(f"{name}, samples", samples / seconds, "1/s", samples / seconds / due, "of those due"),
        row(f"{name}, samples missing", missing, ""),
        row(f"{name}, longest rest between arrivals", longest_ms, "ms"),
        row(f"{name}, driver and decoder", 100 * busy_s / seconds, "% of a core"),
    ]


async def _listen(seconds):
    """Return CPU seconds, and per head sequence numbers and arrivals."""
    turn = asyncio.Lock()
    links = [BleLink(BleSettings(each), time.monotonic_ns, turn) for each in ADDRESSES]
    decoders = [Decoder(LinkCounters(), LinkForm.BODIES) for _ in links]
    await asyncio.gather(*(link.open() for link in links))
    await asyncio.gather(*(map(lambda a, b: _take(a, b, 0.5), links, decoders)))  # the backlog
    before_s = time.process_time()
    runs = await asyncio.gather(*(map(lambda a, b: _take(a, b, seconds), links, decoders)))
    busy_s = time.process_time() - before_s
    await asyncio.gather(*(link.close() for link in links))
    return busy_s, [
        (np.concatenate([r.seq for r in each]), np.concatenate([r.arrived_ns for r in each]))
        for each in runs
    ]


async def _take(link, decoder, seconds):
    runs = []
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            async for chunk in link.chunks():
                received = decoder.feed(chunk.data, chunk.arrived_ns)
                runs += [each for each in received if isinstance(each, RawRun)]
    return runs


@contextlib.contextmanager
def _played(address, mtu):
    command = [sys.executable, __file__, address, str(mtu)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as playing:
        try:
            playing.stdout.readline()
            yield
        finally:
            playing.kill()


async def _play(address, mtu):
    clock = wall_clock()
    heads = []
    ptys = build(SEED, "rigid-8x4", clock, RATE_HZ).ptys.values()
    for each, pty in zip(ADDRESSES, ptys, strict=True):
        pty.firmware.faults.plan = FaultPlan()
        heads.append(BleHead(pty.firmware, clock, each, mtu))
    daemon = FakeBluez(address, heads)
    await daemon.start()
    print("ready", flush=True)
    await daemon.run()


if __name__ == "__main__":
    asyncio.run(_play(sys.argv[1], int(sys.argv[2])))
