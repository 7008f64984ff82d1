"""The bench's live heads: raw samples of each channel, as they come off the links."""

import asyncio
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calibration.bench.procedure import Target
from calibration.bench.steps import Step
from ingest.chain.order import Order, OrderSettings
from ingest.commands.host import monotonic_ns
from ingest.core.blocks import I32, NO_VALUE, RawRun
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.counters import LinkCounters
from ingest.core.errors import LinkError, MeasurementRefused
from ingest.core.ports import Chunk, Link
from ingest.wire.codes import CommandOp
from ingest.wire.commands import Command
from ingest.wire.decoder import Decoder
from ingest.wire.hello import Hello
from ingest.wire.outgoing import outgoing

CODE_RAD = math.radians(1e-4)
CODE_DEGC = 1e-4
WAIT_S = 0.1
"""The screen is renewed so often, also when a head is silent."""
AGAIN_S = 1.0
FIRST_S = 15.0
"""Time for every head to introduce itself."""
US = 1e-6


@dataclass(frozen=True, slots=True)
class Seen:
    """Who a head is and what it measures."""

    head_id: str
    channels: frozenset[str]


@dataclass(frozen=True, slots=True)
class Sample:
    """One raw sample: the head's letter, its own time, angles in rad, temperature in degC."""

    letter: str
    time_s: float
    values: Mapping[str, float]


class Heads(Protocol):
    """What reads the heads of the bench."""

    @property
    def trouble(self) -> str:
        """What is wrong now, in words; "" when nothing is."""

    async def open(self) -> Mapping[str, Seen]:
        """Return who is there, by letter."""

    async def place(self, step: Step, target: Target | None, taken: int) -> None:
        """Let a technician that is part of the heads make the move."""

    async def samples(self, *, hurry: bool) -> Sequence[Sample]:
        """Return what came since the last call, waiting a little where nothing has."""

    async def close(self) -> None:
        """Let the heads go."""


class LinkedHead:
    """Bytes of one link to samples, under the head's hello."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.hello: Hello | None = None
        self._counters = LinkCounters()
        self._decoder = Decoder(self._counters, link.form)
        self._order: Order | None = None

    def reset(self) -> None:
        """The link is opened anew."""
        self._decoder.reset()
        self._order = None

    def take(self, chunk: Chunk) -> list[tuple[float, dict[str, float]]]:
        """Return the samples that a chunk completes: device time in s and values."""
        samples: list[tuple[float, dict[str, float]]] = []
        for received in self._decoder.feed(chunk.data, chunk.arrived_ns):
            if isinstance(received, Hello):
                self.hello = received
                rate_hz = max(1.0, received.rate_dhz / 10)
                self._order = self._order or Order(OrderSettings(), rate_hz, self._counters)
            elif isinstance(received, RawRun) and self._order is not None:
                for run in self._order.feed(received):
                    samples += zip(
                        (run.t_us * US).tolist(), _values(run.codes, self.channels), strict=True
                    )
        return samples

    @property
    def unknown(self) -> bool:
        """Whether the head has still to introduce itself."""
        return self._decoder.hello is None

    @property
    def channels(self) -> frozenset[str]:
        """What the head says that it measures."""
        infos = self.hello.channels if self.hello is not None else ()
        return frozenset(info.channel.value for info in infos if info.channel is not None)


class LiveHeads:
    """Heads on links; ``letters`` gives the letter of each head id that the sheet names."""

    def __init__(self, links: Sequence[Link], letters: Mapping[str, str]) -> None:
        self._heads = [LinkedHead(link) for link in links]
        self._letters = letters
        self._queue: asyncio.Queue[Sample] = asyncio.Queue()
        self._tasks: list[asyncio.Task[None]] = []
        self._troubles: dict[str, str] = {}

    @property
    def trouble(self) -> str:
        """What is wrong with links now."""
        return "; ".join(filter(None, self._troubles.values()))

    async def open(self) -> Mapping[str, Seen]:
        """Open the links and wait until every head of the sheet has introduced itself.

        Raises:
            MeasurementRefused: a head is missing, or another one is there.
        """
        self._tasks = [asyncio.create_task(self._keep(head)) for head in self._heads]
        deadline = asyncio.get_running_loop().time() + FIRST_S
        while asyncio.get_running_loop().time() < deadline:
            found = self._found()
            if set(found) == set(self._letters.values()):
                return found
            await asyncio.sleep(WAIT_S)
        raise self._missing()

    async def place(self, step: Step, target: Target | None, taken: int) -> None:
        """The technician makes the move."""

    async def samples(self, *, hurry: bool) -> Sequence[Sample]:
        """Return what came since the last call."""
        samples = []
        try:
            samples.append(await asyncio.wait_for(self._queue.get(), WAIT_S))
        except TimeoutError:
            return ()
        while not self._queue.empty():
            samples.append(self._queue.get_nowait())
        return samples

    async def close(self) -> None:
        """Close all links."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for head in self._heads:
            await head.link.close()

    async def _keep(self, head: LinkedHead) -> None:
        """Read one link for ever; a link that fails is opened again."""
        name = head.link.name
        while True:
            try:
                await head.link.open()
                head.reset()
                self._troubles[name] = ""
                await self._read(head)
            except LinkError as error:
                self._troubles[name] = str(error)
            await head.link.close()
            await asyncio.sleep(AGAIN_S)

    async def _read(self, head: LinkedHead) -> None:
        asked_ns = -math.inf
        async for chunk in head.link.chunks():
            samples = head.take(chunk)
            letter = self._letters.get(head.hello.head) if head.hello is not None else None
            if letter is not None:
                for time_s, values in samples:
                    self._queue.put_nowait(Sample(letter, time_s, values))
            if head.unknown and monotonic_ns() - asked_ns > AGAIN_S * 1e9:
                asked_ns = monotonic_ns()
                command = Command(CommandOp.HELLO, 1)
                await head.link.ask_hello(outgoing(command, head.link.form))

    def _found(self) -> dict[str, Seen]:
        known = [h for h in self._heads if h.hello is not None and h.hello.head in self._letters]
        return {
            self._letters[head.hello.head]: Seen(head.hello.head, head.channels)
            for head in known
            if head.hello is not None
        }

    def _missing(self) -> MeasurementRefused:
        there = [f"{h.link.name} is head {h.hello.head}" for h in self._heads if h.hello]
        wanted = ", ".join(i for i, a in self._letters.items() if a not in self._found())
        seen = "; ".join([*there, *filter(None, self._troubles.values())]) or "nothing answered"
        text = f"head {wanted} of the sheet is not there ({seen}); connect it, or mend the sheet"
        return MeasurementRefused("head", text, figure=len(self._found()), limit=len(self._letters))


def _values(codes: I32, channels: frozenset[str]) -> list[dict[str, float]]:
    """Return each sample's values; a channel that has none just then is NaN."""
    rows = {channel.value: ROW[channel] for channel in CHANNELS if channel.value in channels}
    scaled = np.where(codes == NO_VALUE, math.nan, codes * CODE_RAD)
    degc = ROW[Channel.TEMPERATURE]
    scaled[degc] = np.where(codes[degc] == NO_VALUE, math.nan, codes[degc] * CODE_DEGC)
    return [{name: float(sample[row]) for name, row in rows.items()} for sample in scaled.T]
