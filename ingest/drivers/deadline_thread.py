"""Blocking calls with a deadline, in a thread of their own."""

import asyncio
import threading
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

T = TypeVar("T")


def let_go(_result: object) -> None:
    """Do nothing with a result that came too late."""


class DeadlineThread:
    """Runs blocking calls of one link, one after the other.

    A shared pool would let a few ports that hang while opening keep all the others waiting.
    A thread that never comes back cannot be stopped; it stays the only one of its link, since
    the next call waits for it (and meets its own deadline). It does not hold up the exit.
    """

    def __init__(self, name: str) -> None:
        self._name = name
        self._running: asyncio.Future[Any] | None = None

    async def call(
        self, work: Callable[[], T], timeout_s: float | None, late: Callable[[T], None] = let_go
    ) -> T:
        """Return ``work()``, or raise what it raises, or ``TimeoutError`` (None: no deadline).

        When the caller has gone (deadline, cancelled), the result that still comes is handed
        to ``late``, in the thread, so that nothing opened is left open.
        """
        async with asyncio.timeout(timeout_s):
            while self._running is not None:
                await asyncio.wait({self._running})
            outcome = self._start(work, late)
            try:
                return await asyncio.shield(outcome)
            except asyncio.CancelledError:
                outcome.add_done_callback(partial(self._discard, late))
                raise

    def _start(self, work: Callable[[], T], late: Callable[[T], None]) -> asyncio.Future[T]:
        loop = asyncio.get_running_loop()
        outcome: asyncio.Future[T] = loop.create_future()
        self._running = outcome

        def run() -> None:
            try:
                result = work()
            except Exception as error:  # handed to the caller, whatever it is
                post(loop, partial(self._settle, partial(outcome.set_exception, error)))
            else:
                if not post(loop, partial(self._settle, partial(outcome.set_result, result))):
                    late(result)

        threading.Thread(target=run, name=self._name, daemon=True).start()
        return outcome

    def _settle(self, deliver: Callable[[], None]) -> None:
        self._running = None
        deliver()

    def _discard(self, late: Callable[[T], None], outcome: asyncio.Future[T]) -> None:
        if not outcome.cancelled() and outcome.exception() is None:
            self._start(partial(late, outcome.result()), let_go)


def post(loop: asyncio.AbstractEventLoop, callback: Callable[[], None]) -> bool:
    """Run a callback in the loop's thread; return False when the loop has been closed."""
    try:
        loop.call_soon_threadsafe(callback)
    except RuntimeError:
        return False
    return True
