"""A port that only a thread can read: what it gives as it fails, and after it was let go."""

import asyncio
import threading
import time

import pytest

from ingest.core.errors import LinkLost
from ingest.core.ids import MonotonicNs
from ingest.drivers.chunk_queue import ChunkQueue
from ingest.drivers.serial_hold import Holds
from ingest.drivers.serial_thread import ThreadStream

HOLDS = Holds(usual_s=0.005, longest_s=0.1)
WAIT_S = 5.0
FAILURES = [OSError(5, "gone"), TypeError("closed under it")]


class GathersThenFails:
    """Gives one byte, lets three more gather in the rest that follows, then fails."""

    def __init__(self, failure):
        self.failure = failure
        self.said = False
        self.gathered = False
        self.just_read = False

    def read(self, size):
        self.just_read = True
        if not self.said:
            self.said = True
            return b"a"
        if self.gathered and size == 3:
            return b"bcd"
        if self.gathered:
            raise self.failure
        time.sleep(0.001)
        return b""

    @property
    def in_waiting(self):
        after_rest, self.just_read = not self.just_read, False
        if not after_rest or self.gathered:
            return 0
        self.gathered = True
        return 3


class Stuck:
    """Blocks in a read until it is let go, then does what it was made for."""

    in_waiting = 0

    def __init__(self, failure):
        self.failure = failure
        self.go_on = threading.Event()

    def read(self, size):
        self.go_on.wait(WAIT_S)
        if self.failure is not None:
            raise self.failure
        return b"late"


def stream_of(port, queue):
    return ThreadStream(port, "head", HOLDS, lambda: MonotonicNs(1), queue)


@pytest.mark.parametrize("failure", FAILURES)
def test_what_gathered_in_a_rest_comes_before_the_failure(run, failure):
    async def main():
        queue = ChunkQueue(10)
        stream = stream_of(GathersThenFails(failure), queue)
        said = [(await anext(queue)).data for _ in range(2)]
        assert said == [b"a", b"bcd"]
        with pytest.raises(LinkLost):
            await anext(queue)
        stream.stop()

    run(main())


@pytest.mark.parametrize("failure", [None, *FAILURES])
def test_a_thread_that_outlives_its_session_has_no_say_in_the_next(run, failure):
    async def main():
        queue = ChunkQueue(10)
        port = Stuck(failure)
        stream = stream_of(port, queue)
        stream.stop()
        queue.restart()
        port.go_on.set()
        await asyncio.to_thread(stream.join)
        await asyncio.sleep(0)
        taking = asyncio.ensure_future(anext(queue))
        await asyncio.sleep(0)
        assert not taking.done()
        taking.cancel()
        await asyncio.wait({taking})

    run(main())
