"""The measuring service: one task per head, one for the second's tick, one for the outlet.

It talks to ports only. A head that fails never disturbs another; an exception in one head's
task is logged with its link and restarts that task alone.
"""

import asyncio
import contextlib
import itertools
import logging
from collections.abc import Callable, Coroutine, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol

from ingest.core.errors import LinkError
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, HeadNames, Link, MonotonicClock, Outlet, WallClock
from ingest.core.units import NS
from ingest.payload.cmd import Request
from ingest.payload.topics import Topics
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay, BaySettings
from ingest.service.bayhead import BayHead
from ingest.service.linkkeeper import KeeperSettings, LinkChange, LinkKeeper, LinkState
from ingest.service.ports import CalibrationRecords
from ingest.service.requests import Requests
from ingest.service.servicedesk import DeskSettings, ServiceDesk
from ingest.wire.codes import CommandOp
from ingest.wire.commands import Command
from ingest.wire.outgoing import outgoing
from ingest.wire.reports import Ack, Refusal

log = logging.getLogger(__name__)

TICK_S = 1.0
RESTART_S = 1.0
"""Pause before a task that failed by our own fault is started again."""

EARLY = 0.4
"""A link is ready this part of a sample period before the sample that completes a value."""

ASK_HELLO_EVERY_S = 1.0
"""A head that streams without having introduced itself is asked again this often."""


class Answering(Outlet, Protocol):
    """An outlet that commands come in by."""

    def reply(self, request: Request, payload: bytes) -> None: ...


@dataclass(frozen=True, slots=True)
class ServiceSettings:
    """All of the service."""

    bay: BaySettings = field(default_factory=BaySettings)
    keeper: KeeperSettings = field(default_factory=KeeperSettings)
    desk: DeskSettings = field(default_factory=DeskSettings)


class Service:
    """Runs one bay. ``run`` serves until it is cancelled."""

    def __init__(
        self,
        settings: ServiceSettings,
        topics: Topics,
        links: Mapping[str, Link],
        outlet: Answering,
        *,
        names: HeadNames,
        records: CalibrationRecords,
        clock: MonotonicClock,
        wall: WallClock,
        random: Callable[[], float],
        boot: str,
    ) -> None:
        self._settings = settings
        self._clock = clock
        announcer = Announcer(topics, outlet, clock, wall, boot)
        self._forms = {name: link.form for name, link in links.items()}
        self.bay = Bay(settings.bay, self._forms, announcer, names, records)
        self._desk = ServiceDesk(settings.desk, settings.bay.live, announcer)
        self._requests = Requests(self.bay, announcer, clock, outlet.reply, self._ask)
        self._keepers = {
            name: LinkKeeper(
                link,
                settings.keeper,
                clock=clock,
                random=random,
                on_chunk=partial(self._on_chunk, name),
                on_state=partial(self._on_state, name),
            )
            for name, link in links.items()
        }
        self._waiting: dict[tuple[str, int], asyncio.Future[Ack | Refusal]] = {}
        self._command_ids = itertools.cycle(range(1, 1 << 16))
        self._hello_asked_ns = dict.fromkeys(links, MonotonicNs(0))
        self._tasks: asyncio.TaskGroup | None = None

    def birth(self) -> bytes:
        """Return the present ``svc/status``."""
        return self._desk.status("online", "").encode()

    def farewell(self) -> bytes:
        """Return the ``svc/status`` of a clean stop."""
        return self._desk.status("offline", "stopped").encode()

    def on_request(self, request: Request) -> None:
        """Take a command; it is answered when it is done."""
        if self._tasks is not None:
            self._tasks.create_task(
                self._guarded(f"command {request.name}", self._requests.carry_out(request))
            )

    async def run(self) -> None:
        """Serve until cancelled."""
        self._desk.refresh(self.bay)
        async with asyncio.TaskGroup() as tasks:
            self._tasks = tasks
            try:
                for name in self._keepers:
                    tasks.create_task(self._keep(name), name=f"link {name}")
                tasks.create_task(self._tick(), name="tick")
                await asyncio.get_running_loop().create_future()
            finally:
                self._tasks = None

    async def _keep(self, name: str) -> None:
        """Keep one link; a fault of our own is logged with the link's name, never passed on."""
        while True:
            try:
                await self._keepers[name].run()
            except Exception:
                log.exception("link %s: fault in the program; starting it again", name)
            await asyncio.sleep(RESTART_S)

    async def _guarded(self, what: str, work: Coroutine[None, None, None]) -> None:
        try:
            await work
        except Exception:
            log.exception("%s: fault in the program", what)

    async def _on_chunk(self, name: str, chunk: Chunk) -> None:
        slot = self.bay.slots[name]
        before = slot.counters.frames
        for answer in self.bay.take(name, chunk):
            if isinstance(answer, Ack | Refusal):
                waiting = self._waiting.get((name, answer.command_id))
                if waiting is not None and not waiting.done():
                    waiting.set_result(answer)
        if slot.counters.frames > before:
            self._keepers[name].note_good(chunk.arrived_ns)
        if slot.feed.chain is not None:
            quiet_ns = round((slot.feed.chain.quiet_s - EARLY * slot.feed.chain.period_s) * NS)
            self._keepers[name].rest(MonotonicNs(chunk.arrived_ns + quiet_ns))
        if slot.feed.hello is None:
            await self._ask_hello(name)

    def _on_state(self, name: str, change: LinkChange) -> None:
        self.bay.link_changed(name, change)
        counters = self.bay.slots[name].counters
        counters.reconnects = self._keepers[name].reconnects
        if change.state is LinkState.OPEN and self._tasks is not None:
            self._hello_asked_ns[name] = MonotonicNs(0)
            self._tasks.create_task(self._ask_hello(name), name=f"hello of {name}")

    async def _ask_hello(self, name: str) -> None:
        now_ns = self._clock()
        if now_ns - self._hello_asked_ns[name] < ASK_HELLO_EVERY_S * 1e9:
            return
        self._hello_asked_ns[name] = now_ns
        command = Command(CommandOp.HELLO, next(self._command_ids))
        with contextlib.suppress(LinkError):  # the keeper meets the same error, and says it
            await self._keepers[name].ask_hello(outgoing(command, self._forms[name]))

    async def _ask(self, head: BayHead, command: Command) -> Ack | Refusal:
        name, command_id = head.slot.name, next(self._command_ids)
        waiting: asyncio.Future[Ack | Refusal] = asyncio.get_running_loop().create_future()
        self._waiting[name, command_id] = waiting
        try:
            asked = replace(command, command_id=command_id)
            await self._keepers[name].send(outgoing(asked, self._forms[name]))
            return await waiting
        finally:
            del self._waiting[name, command_id]

    async def _tick(self) -> None:
        last_ns = self._clock()
        while True:
            await asyncio.sleep(TICK_S)
            now_ns = self._clock()
            for name, keeper in self._keepers.items():
                self.bay.slots[name].counters.dropped = keeper.dropped
            self.bay.tick((now_ns - last_ns) * 1e-9)
            self._desk.refresh(self.bay)
            last_ns = now_ns
