"""How the demo's heads are plugged in: on ptys, or on a Bluetooth daemon that is played."""

import asyncio
import contextlib
import os
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from ingest.commands.demo_rig import DemoRig
from ingest.commands.links import make_links
from ingest.core.ports import Link
from ingest.drivers.ble import BleSettings
from ingest.drivers.serial import SerialSettings
from ingest.simulator.bluez.blehead import BleHead
from ingest.simulator.bluez.bus import private_bus
from ingest.simulator.bluez.daemon import FakeBluez
from ingest.simulator.emulated import EmulatedHead, build_image
from ingest.simulator.streams import stream

MTU = 247
EMULATED_HZ = 100.0
"""The rate at which the example head starts."""
SYSTEM_BUS = "DBUS_SYSTEM_BUS_ADDRESS"


@dataclass(frozen=True, slots=True)
class Plugs:
    """A link to each head, how to press a head's button, and what to call all this."""

    links: list[Link]
    press: Callable[[str], None]
    over: str


@contextlib.asynccontextmanager
async def on_ptys(demo: DemoRig) -> AsyncIterator[Plugs]:
    """Plug all heads into ptys."""
    paths = [pty.plug() for pty in demo.ptys.values()]
    tasks = [asyncio.create_task(pty.run(), name=f"head {n}") for n, pty in demo.ptys.items()]
    try:
        links = make_links(SerialSettings(path) for path in paths)
        yield Plugs(links, lambda name: demo.ptys[name].press(), "ptys")
    finally:
        await _ended(tasks)
        for pty in demo.ptys.values():
            pty.unplug()


@contextlib.asynccontextmanager
async def over_the_air(demo: DemoRig) -> AsyncIterator[Plugs]:
    """Let all heads be found over Bluetooth LE, on a bus of our own."""
    heads = {
        name: BleHead(pty.firmware, demo.now_s, f"02:00:00:00:10:{at:02x}", MTU)
        for at, (name, pty) in enumerate(demo.ptys.items())
    }
    with private_bus() as address, _as_system_bus(address):
        daemon = FakeBluez(address, list(heads.values()))
        await daemon.start()
        task = asyncio.create_task(daemon.run(), name="Bluetooth")
        try:
            links = make_links(BleSettings(head.name) for head in heads.values())
            yield Plugs(links, lambda name: heads[name].press(), "Bluetooth LE (played)")
        finally:
            await _ended([task])
            await daemon.die()


@contextlib.asynccontextmanager
async def emulated(demo: DemoRig) -> AsyncIterator[Plugs]:
    """Let the C example measure, on four emulated microcontrollers."""
    with tempfile.TemporaryDirectory(prefix="image-") as folder:
        image = build_image(Path(folder))
        heads = {
            name: EmulatedHead(
                demo.rig,
                head,
                image,
                random=stream(demo.seed, "emulated", name),
                clock=demo.now_s,
                rate_hz=EMULATED_HZ,
            )
            for name, head in demo.heads.items()
        }
        tasks: list[asyncio.Task[None]] = []
        try:
            ports = [head.plug() for head in heads.values()]
            tasks += [asyncio.create_task(head.run()) for head in heads.values()]
            links = make_links(SerialSettings(port) for port in ports)
            yield Plugs(
                links, lambda name: heads[name].press(), "ptys of emulated microcontrollers"
            )
        finally:
            await _ended(tasks)
            for head in heads.values():
                head.unplug()


@contextlib.contextmanager
def _as_system_bus(address: str) -> Iterator[None]:
    before = os.environ.get(SYSTEM_BUS)
    os.environ[SYSTEM_BUS] = address
    try:
        yield
    finally:
        if before is None:
            del os.environ[SYSTEM_BUS]
        else:
            os.environ[SYSTEM_BUS] = before


async def _ended(tasks: list[asyncio.Task[None]]) -> None:
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
