"""Moves messages from the outbox to the connection, as fast as the broker takes them."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass

from ingest.core.ports import MonotonicClock
from ingest.outputs.connection import Connection
from ingest.outputs.outbox import Outbox, OutboxCounters, Outgoing

WINDOW = 20
"""Messages under way unacknowledged; the pace at which a backlog leaves."""

BATCH = 64
"""Messages handed to the socket before it is asked whether it took them."""


@dataclass(slots=True)
class SenderCounters:
    """What went to brokers since the start."""

    sent: int = 0
    acknowledged: int = 0
    turned_down: int = 0
    """Messages that the broker acknowledged with a refusal."""
    too_large: int = 0
    """Messages dropped because the broker says that it takes none so large."""


class Sender:
    """Sends by itself whenever there is a connection with room; never blocks.

    What waits, waits in the outbox, where a newer value can overtake it, and not in the
    client library or, beyond a small buffer, in the kernel.
    """

    def __init__(self, clock: MonotonicClock) -> None:
        self._clock = clock
        self._outbox = Outbox()
        self._connection: Connection | None = None
        self._under_way: dict[int, Outgoing] = {}
        self._planned = False
        self._settled = asyncio.Event()
        self._emptied = asyncio.Event()
        self.counters = SenderCounters()

    @property
    def connected(self) -> bool:
        return self._connection is not None

    @property
    def outbox_counters(self) -> OutboxCounters:
        return self._outbox.counters

    def put(self, message: Outgoing) -> None:
        """Take a message; it leaves after this turn of the event loop, if it can."""
        self._outbox.put(message)
        self.plan()

    def attach(
        self, connection: Connection, birth: Outgoing, describes: Callable[[str], bool]
    ) -> None:
        """Say all retained state to a new connection, then send what comes."""
        self._connection = connection
        self._outbox.say_again(birth, describes)
        self._pump()

    def detach(self) -> None:
        """Forget the connection; what it has not delivered waits for the next one."""
        self._connection = None
        self._outbox.give_back(tuple(self._under_way.values()))
        self._under_way.clear()

    def acknowledged(self, mid: int, accepted: bool) -> None:
        """Take note that the broker has answered for a message."""
        if self._under_way.pop(mid, None) is None:
            return
        self.counters.acknowledged += accepted
        self.counters.turned_down += not accepted
        if self._under_way or self._outbox.owes:
            self.plan()
        else:
            self._settled.set()

    def plan(self) -> None:
        """Send in one go what one turn of the event loop brings."""
        if self._connection is not None and not self._planned:
            self._planned = True
            asyncio.get_running_loop().call_soon(self._pump)

    async def settle(self, deadline_s: float) -> None:
        """Wait until all that must not be lost is acknowledged, or for the deadline."""
        self._settled.clear()
        self._pump()
        if self._under_way or self._outbox.owes:
            try:
                await asyncio.wait_for(self._settled.wait(), deadline_s)
            except TimeoutError:
                return

    async def drain(self) -> None:
        """Wait until nothing waits: all has left, or grew too old while there was no connection."""
        while self._outbox:
            self._emptied.clear()
            await self._emptied.wait()

    def _pump(self) -> None:
        self._planned = False
        connection = self._connection
        while connection is not None and not connection.congested and self._send_some(connection):
            connection.flush()
        if not self._outbox:
            self._emptied.set()

    def _send_some(self, connection: Connection) -> bool:
        """Queue up to a batch; tell whether there was anything."""
        window = min(WINDOW, connection.receive_maximum)
        now_ns = self._clock()
        for queued in range(BATCH):
            message = self._outbox.take(now_ns, may_owe=len(self._under_way) < window)
            if message is None:
                return queued > 0
            self._send(connection, message)
        return True

    def _send(self, connection: Connection, message: Outgoing) -> None:
        if not connection.takes(message):
            self.counters.too_large += 1
            return
        mid = connection.send(message)
        self.counters.sent += 1
        if mid is not None:
            self._under_way[mid] = message
