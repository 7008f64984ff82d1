"""Keeps one link open for ever: opens, hands on chunks, notices silence, reopens."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NoReturn

from ingest.core.errors import LinkBusy, LinkDenied, LinkError, LinkLost, LinkSilent
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, Link, MonotonicClock
from ingest.service.backoff import Backoff, BackoffSettings
from ingest.service.watchdog import Watchdog, WatchdogSettings


class LinkState(StrEnum):
    """What a person needs to know about a link. The words stand on the link topic."""

    OPENING = "opening"
    """The first try since the start; later tries show why the last one failed."""
    OPEN = "open"
    """The port is open, and is not known to be silent."""
    SILENT = "silent"
    """Nothing valid for too long. Reopened by and by; ends with the first valid frame."""
    ABSENT = "absent"
    """There is no such port, or it went away."""
    BUSY = "busy"
    """Another program holds the port."""
    DENIED = "denied"
    """Permission is missing."""


@dataclass(frozen=True, slots=True)
class LinkChange:
    """A change of state and, where a failure made it, that failure."""

    state: LinkState
    error: LinkError | None


@dataclass(frozen=True, slots=True)
class KeeperSettings:
    """How patient a keeper is."""

    backoff: BackoffSettings = field(default_factory=BackoffSettings)
    watchdog: WatchdogSettings = field(default_factory=WatchdogSettings)


class LinkKeeper:
    """Owns one ``Link``. It knows bytes only; its owner says which of them were good.

    ``on_chunk`` is awaited for each chunk in order; ``on_state`` is called once per change.
    An exception out of either is a bug of the owner: it ends ``run`` after the link has been
    closed. ``random`` returns numbers in [0, 1].
    """

    def __init__(
        self,
        link: Link,
        settings: KeeperSettings,
        *,
        clock: MonotonicClock,
        random: Callable[[], float],
        on_chunk: Callable[[Chunk], Awaitable[None]],
        on_state: Callable[[LinkChange], None],
    ) -> None:
        self._link = link
        self._settings = settings
        self._clock = clock
        self._backoff = Backoff(settings.backoff, random)
        self._watchdog: Watchdog | None = None
        self._on_chunk = on_chunk
        self._on_state = on_state
        self._state: LinkState | None = None
        self._opens = 0

    @property
    def state(self) -> LinkState:
        """The state last reported; ``opening`` before ``run``."""
        return LinkState.OPENING if self._state is None else self._state

    @property
    def reconnects(self) -> int:
        """How often the link was opened again after its first opening."""
        return max(0, self._opens - 1)

    @property
    def dropped(self) -> int:
        """Chunks that the link dropped, oldest first, because nobody took them in time."""
        return self._link.dropped

    def note_good(self, now_ns: MonotonicNs) -> None:
        """Take note of a valid frame: feeds the watchdog and, after a while, ends the backoff."""
        self._backoff.note_good(now_ns)
        if self._watchdog is not None:
            self._watchdog.note_good(now_ns)
            if self._state is not LinkState.OPEN:
                self._report(LinkState.OPEN, None)

    def rest(self, until_ns: MonotonicNs) -> None:
        """Let bytes gather until a time."""
        self._link.rest(until_ns)

    async def send(self, data: bytes) -> None:
        """Send bytes within the link's deadline; raises ``LinkError``."""
        if self._watchdog is None:
            raise LinkLost(self._link.name, "not open now")
        await self._link.send(data)

    async def ask_hello(self, command: bytes) -> None:
        """Have the head introduce itself; raises ``LinkError``."""
        if self._watchdog is None:
            raise LinkLost(self._link.name, "not open now")
        await self._link.ask_hello(command)

    async def run(self) -> NoReturn:
        """Keep the link open until cancelled. The link is closed before each new opening."""
        self._report(LinkState.OPENING, None)
        while True:
            error = await self._session()
            self._report(state_after(error), error)
            await asyncio.sleep(self._backoff.note_failure(retryable=error.retryable))

    async def _session(self) -> LinkError:
        """Open, hand on chunks until the link fails, close; return the failure."""
        try:
            await self._link.open()
            self._opens += 1
            self._watchdog = Watchdog(self._settings.watchdog, self._clock())
            if self._state is not LinkState.SILENT:
                self._report(LinkState.OPEN, None)
            await self._pump(self._watchdog)
        except LinkError as error:
            return error
        finally:
            self._watchdog = None
            await self._link.close()

    async def _pump(self, watchdog: Watchdog) -> NoReturn:
        """Hand on chunks and watch for silence; raises ``LinkError``, whichever comes first."""
        pump = asyncio.create_task(self._hand_on(), name=f"chunks of {self._link.name}")
        watch = asyncio.create_task(self._watch(watchdog), name=f"silence of {self._link.name}")
        try:
            done, _ = await asyncio.wait({pump, watch}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            pump.cancel()
            watch.cancel()
            await asyncio.gather(pump, watch, return_exceptions=True)
        raise next(iter(done)).exception() or LinkLost(self._link.name, "ended without a reason")

    async def _hand_on(self) -> None:
        async for chunk in self._link.chunks():
            await self._on_chunk(chunk)

    async def _watch(self, watchdog: Watchdog) -> NoReturn:
        while True:
            remaining_s = watchdog.remaining_s(self._clock())
            if remaining_s < 0.0:
                limit_s = self._settings.watchdog.limit_s
                raise LinkSilent(self._link.name, f"nothing valid for more than {limit_s:g} s")
            await asyncio.sleep(remaining_s + 0.001)

    def _report(self, state: LinkState, error: LinkError | None) -> None:
        if state is not self._state:
            self._state = state
            self._on_state(LinkChange(state, error))


def state_after(error: LinkError) -> LinkState:
    """Return what a failure leaves behind."""
    match error:
        case LinkSilent():
            return LinkState.SILENT
        case LinkBusy():
            return LinkState.BUSY
        case LinkDenied():
            return LinkState.DENIED
        case _:
            return LinkState.ABSENT
