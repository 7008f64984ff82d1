"""What nobody takes in time is dropped, oldest first, and counted."""

import asyncio

import pytest

from ingest.core.errors import LinkLost
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk
from ingest.drivers.chunk_queue import ChunkQueue


def chunk(number):
    return Chunk(bytes([number]), MonotonicNs(number))


async def take(queue, count):
    return [(await anext(queue)).arrived_ns for _ in range(count)]


def test_drops_the_oldest_and_counts_it():
    async def main():
        queue = ChunkQueue(3)
        for number in range(5):
            queue.put(chunk(number))
        assert await take(queue, 3) == [2, 3, 4]
        assert queue.dropped == 2

    asyncio.run(main())


def test_hands_out_what_came_before_a_failure_first():
    async def main():
        queue = ChunkQueue(3)
        queue.put(chunk(1))
        queue.fail(LinkLost("head", "first"))
        queue.fail(LinkLost("head", "second"))
        assert await take(queue, 1) == [1]
        for _ in range(2):
            with pytest.raises(LinkLost, match="first"):
                await anext(queue)

    asyncio.run(main())


def test_a_waiting_taker_hears_of_chunks_and_of_failure():
    async def main():
        queue = ChunkQueue(3)
        waiting = asyncio.create_task(take(queue, 1))
        await asyncio.sleep(0)
        queue.put(chunk(7))
        assert await waiting == [7]
        waiting = asyncio.create_task(take(queue, 1))
        await asyncio.sleep(0)
        queue.fail(LinkLost("head", "gone"))
        with pytest.raises(LinkLost, match="gone"):
            await waiting

    asyncio.run(main())


def test_a_new_session_starts_empty_and_counts_what_nobody_took():
    async def main():
        queue = ChunkQueue(3)
        queue.put(chunk(1))
        queue.put(chunk(2))
        queue.fail(LinkLost("head", "gone"))
        queue.restart()
        queue.put(chunk(3))
        assert await take(queue, 1) == [3]
        assert queue.dropped == 2

    asyncio.run(main())
