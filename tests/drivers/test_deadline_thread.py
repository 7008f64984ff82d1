"""Blocking calls meet their deadline, and whatever comes too late is still taken care of."""

import asyncio
import threading

import pytest

from ingest.drivers.deadline_thread import DeadlineThread

SHORT_S = 0.05
LONG_S = 10.0


def threads_named(name):
    return [thread for thread in threading.enumerate() if thread.name == name]


def test_returns_what_the_call_returns_and_raises_what_it_raises(run):
    async def main():
        thread = DeadlineThread("ours")
        assert await thread.call(lambda: 42, LONG_S) == 42
        with pytest.raises(ZeroDivisionError):
            await thread.call(lambda: 1 // 0, LONG_S)
        assert await thread.call(lambda: 43, LONG_S) == 43

    run(main())


def test_the_loop_goes_on_while_a_call_blocks(run):
    """The call ends only after the loop has turned a hundred times, which a blocked loop
    could not."""
    turned = threading.Event()

    async def turn():
        for _ in range(100):
            await asyncio.sleep(0)
        turned.set()

    async def main():
        turning = asyncio.create_task(turn())
        assert await DeadlineThread("ours").call(lambda: turned.wait(LONG_S), LONG_S)
        await turning

    run(main())


def test_a_result_past_its_deadline_is_handed_to_late(run):
    go_on = threading.Event()
    came_late = threading.Event()
    results = []

    def late(result):
        results.append((result, threading.current_thread().name))
        came_late.set()

    async def main():
        thread = DeadlineThread("ours")
        with pytest.raises(TimeoutError):
            await thread.call(lambda: go_on.wait(LONG_S) and "opened", SHORT_S, late)
        go_on.set()
        await asyncio.to_thread(came_late.wait, LONG_S)

    run(main())
    assert results == [("opened", "ours")]


def test_a_result_after_a_cancel_is_handed_to_late_before_the_next_call(run):
    go_on = threading.Event()
    order = []

    async def main():
        thread = DeadlineThread("ours")
        call = thread.call(lambda: go_on.wait(LONG_S) and "opened", LONG_S, order.append)
        caller = asyncio.create_task(call)
        await asyncio.sleep(0)
        caller.cancel()
        await asyncio.wait({caller})
        assert caller.cancelled()
        go_on.set()
        await thread.call(lambda: order.append("next"), LONG_S)

    run(main())
    assert order == ["opened", "next"]


def test_a_result_after_the_loop_has_gone_is_handed_to_late():
    go_on = threading.Event()
    came_late = threading.Event()

    async def main():
        thread = DeadlineThread("ours")
        with pytest.raises(TimeoutError):
            await thread.call(lambda: go_on.wait(LONG_S), SHORT_S, lambda _: came_late.set())

    asyncio.run(main())
    go_on.set()
    assert came_late.wait(LONG_S)


def test_a_call_that_never_comes_back_stays_the_only_one(run):
    go_on = threading.Event()

    async def main():
        thread = DeadlineThread("stuck")
        for _ in range(5):
            with pytest.raises(TimeoutError):
                await thread.call(lambda: go_on.wait(LONG_S), SHORT_S)
        assert len(threads_named("stuck")) == 1
        assert threads_named("stuck")[0].daemon
        go_on.set()
        assert await thread.call(lambda: "again", LONG_S) == "again"

    run(main())
