"""The standard rig: four heads of the C example on emulated boards, and who listens to them."""

import asyncio
import contextlib
import time

from ingest.commands.demo_rig import build, wall_clock
from ingest.core.blocks import RawRun
from ingest.core.counters import LinkCounters
from ingest.core.errors import LinkError
from ingest.core.ids import MonotonicNs
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.simulator.emulated import EmulatedHead
from ingest.simulator.streams import stream
from ingest.wire.commands import Command
from ingest.wire.decoder import Decoder
from ingest.wire.framing import Deframer, frame
from ingest.wire.messages import encode
from ingest.wire.reports import Ack, Refusal

PATIENCE_S = 20.0
"""Met only when something hangs."""


def now_ns():
    return MonotonicNs(time.monotonic_ns())


class Ear:
    """Hears one head through the serial driver and the decoder, as the service does."""

    def __init__(self, path):
        self.link = SerialLink(SerialSettings(path), now_ns)
        self.counters = LinkCounters()
        self.messages = []
        self.runs = []
        self.raw = bytearray()
        self.lost = None
        self._decoder = Decoder(self.counters)
        self._news = asyncio.Event()
        self._ids = iter(range(1, 1 << 16))

    @property
    def hello(self):
        return self._decoder.hello

    async def run(self):
        try:
            async for chunk in self.link.chunks():
                self.raw += chunk.data
                for item in self._decoder.feed(chunk.data, chunk.arrived_ns):
                    (self.runs if isinstance(item, RawRun) else self.messages).append(item)
                self._news.set()
        except LinkError as error:
            self.lost = error
            self._news.set()

    async def until(self, found):
        """Wait until ``found()`` gives something; return it."""
        async with asyncio.timeout(PATIENCE_S):
            while not (result := found()):
                self._news.clear()
                await self._news.wait()
        return result

    async def greeted(self):
        """Have the head introduce itself."""
        await self.link.ask_hello(b"\0" + frame(encode(Command(5, 0))))
        return await self.until(lambda: self.hello)

    async def say(self, message):
        await self.link.send(frame(encode(message)))

    async def command(self, op, value=0):
        """Send a command; return its answer."""
        number = next(self._ids)
        await self.say(Command(op, number, value))
        return await self.until(
            lambda: next((m for m in self.of(Ack, Refusal) if m.command_id == number), None)
        )

    def bodies(self, kind):
        """All bodies of one type that came, as they came."""
        found = Deframer(LinkCounters()).feed(b"\0" + bytes(self.raw))
        return [body for body in found if body[0] == kind]

    def of(self, *kinds):
        return [message for message in self.messages if isinstance(message, kinds)]

    @property
    def samples(self):
        return sum(map(len, self.runs))


class EmulatedRig:
    """Four heads on an invented vehicle, each under a name that follows its port."""

    def __init__(self, image, folder, *, seed=29, rate_hz=200.0):
        self.demo = build(seed, "rigid-8x4", wall_clock())
        self.heads = {
            name: EmulatedHead(
                self.demo.rig,
                head,
                image,
                random=stream(seed, "emulated", name),
                clock=self.demo.now_s,
                rate_hz=rate_hz,
                link=folder / name,
            )
            for name, head in self.demo.heads.items()
        }

    @contextlib.asynccontextmanager
    async def plugged(self, *names):
        """Plug these heads in, or all, and feed their sensors."""
        heads = [self.heads[name] for name in names or self.heads]
        tasks = []
        try:
            for head in heads:
                head.plug()
            tasks += [asyncio.create_task(head.run()) for head in heads]
            yield
            assert not any(task.done() for task in tasks)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            for head in heads:
                head.unplug()

    @contextlib.asynccontextmanager
    async def heard(self, name):
        """Listen to a head that is plugged in, and have it greet."""
        ear = Ear(self.heads[name].path)
        await ear.link.open()
        task = asyncio.create_task(ear.run())
        try:
            await ear.greeted()
            yield ear
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            await ear.link.close()
