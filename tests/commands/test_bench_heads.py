"""The bench's heads on real ports: raw samples of the channels, by the letters of the sheet."""

import asyncio
import contextlib
import math
import time
from itertools import pairwise

import pytest

from ingest.commands import bench_heads
from ingest.commands.bench_heads import LiveHeads
from ingest.commands.host import monotonic_ns
from ingest.core.errors import MeasurementRefused
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.simulator.bench.bench import SimulatedBench

SEED = 5


@contextlib.asynccontextmanager
async def heads_on_ports(bench, letters_of):
    """Plug both heads in; the ports are in the other order than the letters."""
    plugged = [bench.pty(letter) for letter in "BA"]
    paths = [head.plug() for head in plugged]
    tasks = [asyncio.create_task(head.run()) for head in plugged]
    links = [SerialLink(SerialSettings(path), monotonic_ns) for path in paths]
    heads = LiveHeads(links, letters_of)
    try:
        yield heads, plugged
    finally:
        await heads.close()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        for head in plugged:
            head.unplug()


async def gathered(heads, wanted):
    """Return samples until every letter has so many."""
    samples = {"A": [], "B": []}
    while min(map(len, samples.values())) < wanted:
        for sample in await heads.samples(hurry=True):
            samples[sample.letter].append(sample)
    return samples


def letters_of(bench):
    return {str(bench.head_id(letter)): letter for letter in "AB"}


def test_raw_samples_come_by_letter_whichever_port_a_head_is_on():
    bench = SimulatedBench(SEED, time.monotonic)

    async def work():
        async with heads_on_ports(bench, letters_of(bench)) as (heads, _):
            seen = await heads.open()
            return seen, await gathered(heads, 60)

    seen, samples = asyncio.run(work())
    for letter in "AB":
        assert seen[letter].head_id == bench.head_id(letter)
        assert {"incl_x", "incl_y", "rotation", "temperature"} <= seen[letter].channels
        told = bench.read(letter)
        own = samples[letter]
        for channel in ("incl_x", "incl_y", "rotation"):
            mean = sum(s.values[channel] for s in own[-50:]) / 50
            assert math.degrees(mean) == pytest.approx(told[f"{channel}_deg"], abs=0.01)
        steps = [b.time_s - a.time_s for a, b in pairwise(own)]
        assert min(steps) > 0
        assert sorted(steps)[len(steps) // 2] == pytest.approx(0.02, rel=0.01)


def test_a_port_that_is_pulled_is_told_and_taken_up_again(monkeypatch):
    monkeypatch.setattr(bench_heads, "AGAIN_S", 0.1)
    bench = SimulatedBench(SEED, time.monotonic)

    async def work():
        async with heads_on_ports(bench, letters_of(bench)) as (heads, plugged):
            await heads.open()
            await gathered(heads, 5)
            plugged[0].unplug()
            while not heads.trouble:
                await heads.samples(hurry=True)
            trouble = heads.trouble
            samples = await heads.samples(hurry=True)
            return trouble, {sample.letter for sample in samples}

    trouble, still_there = asyncio.run(work())
    assert "/dev/pts/" in trouble
    assert still_there <= {"A"}


def test_a_head_that_is_not_the_sheets_is_refused_by_both_names(monkeypatch):
    monkeypatch.setattr(bench_heads, "FIRST_S", 2.0)
    bench = SimulatedBench(SEED, time.monotonic)
    letters = {str(bench.head_id("A")): "A", "ab" * 8: "B"}

    async def work():
        async with heads_on_ports(bench, letters) as (heads, _):
            await heads.open()

    with pytest.raises(MeasurementRefused, match=f"head {'ab' * 8} of the sheet is not there") as e:
        asyncio.run(work())
    assert bench.head_id("B") in str(e.value)
