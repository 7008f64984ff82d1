"""The measuring service: one task per head, one for the second's tick.

It talks to ports only, and hands all that happens to the workings, stamped once. A head that
fails never disturbs another; an exception in one head's task is logged with its link and
restarts that task alone.
"""

import asyncio
import contextlib
import logging
from collections.abc import Callable, Coroutine, Mapping
from dataclasses import dataclass, field
from functools import partial

from ingest.core.errors import LinkError
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, HeadNames, Link, MonotonicClock, WallClock
from ingest.core.published import PublishedResults
from ingest.payload.cmd import Request
from ingest.payload.topics import Topics
from ingest.service.alerts import Level
from ingest.service.bay import Bay
from ingest.service.baysettings import BaySettings
from ingest.service.inputs import (
    Arrived,
    Asked,
    Began,
    Input,
    Introduced,
    LinkIs,
    Moment,
    NotSent,
    Offered,
    Second,
    Warned,
)
from ingest.service.jobtranscript import noting_jobs
from ingest.service.jobwork import JobWork
from ingest.service.linkkeeper import KeeperSettings, LinkChange, LinkKeeper
from ingest.service.ports import CalibrationRecords, Recorder
from ingest.service.servicedesk import DeskSettings
from ingest.service.transcript import NotingNames, NotingRecords, Transcript
from ingest.service.workings import Answering, Jobs, Workings, WorkSettings

log = logging.getLogger(__name__)

TICK_S = 1.0
RESTART_S = 1.0
"""Pause before a task that failed by our own fault is started again."""


@dataclass(frozen=True, slots=True)
class ServiceSettings:
    """All of the service."""

    bay: BaySettings = field(default_factory=BaySettings)
    keeper: KeeperSettings = field(default_factory=KeeperSettings)
    desk: DeskSettings = field(default_factory=DeskSettings)
    people: tuple[str, ...] = ()
    """Who may lead a job, by their names at the broker; empty: whoever reaches it."""


class Service:
    """Runs one bay. ``run`` serves until it is cancelled.

    ``recorder``, where given, is told every input before it is taken; ``published`` every
    result of a wheel that has settled.
    """

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
        recorder: Recorder | None = None,
        published: PublishedResults | None = None,
        jobs: Jobs | None = None,
    ) -> None:
        self._clock = clock
        self._wall = wall
        keeper = partial(self._keeper, settings.keeper, random)
        self._keepers = {name: keeper(name, link) for name, link in links.items()}
        work = WorkSettings(
            settings.bay, settings.desk, pings=True, people=settings.people, jobs=jobs is not None
        )
        forms = {name: link.form for name, link in links.items()}
        self._offers = Offered if jobs is None else jobs.offers
        self._offered = Offered()
        self._transcript: Transcript | None = None
        if recorder is not None:
            self._transcript = Transcript(recorder)
            self._transcript.open(self._moment(), topics.bay, boot, work, forms)
            names = NotingNames(names, self._transcript)
            if jobs is not None:
                jobs = noting_jobs(jobs, self._transcript)
            records = NotingRecords(records, self._transcript)
        self._workings = Workings(
            work,
            topics,
            forms,
            outlet,
            self,
            names=names,
            records=records,
            boot=boot,
            published=published,
            jobs=jobs,
        )
        self._tasks: asyncio.TaskGroup | None = None

    def _keeper(
        self, settings: KeeperSettings, random: Callable[[], float], name: str, link: Link
    ) -> LinkKeeper:
        return LinkKeeper(
            link,
            settings,
            clock=self._clock,
            random=random,
            on_chunk=partial(self._on_chunk, name),
            on_state=partial(self._on_state, name),
        )

    @property
    def jobs(self) -> JobWork | None:
        """The present job; None where no jobs are kept."""
        return self._workings.jobs

    @property
    def bay(self) -> Bay:
        """What is known of the bay now."""
        return self._workings.bay

    def birth(self) -> bytes:
        """Return the present ``svc/status``."""
        return self._introduce("online", "")

    def farewell(self) -> bytes:
        """Return the ``svc/status`` of a clean stop."""
        return self._introduce("offline", "stopped")

    def warn(self, code: str, text: str, level: Level = "warning") -> None:
        """Say as an alert what somebody should know who started the service."""
        self._take(Warned(code, text, level))

    def on_request(self, request: Request) -> None:
        """Take a command; it is answered when it is done."""
        if self._tasks is not None:
            self._take(Asked(request))

    async def run(self) -> None:
        """Serve until cancelled."""
        self._see_offers()
        self._take(Began())
        async with asyncio.TaskGroup() as tasks:
            self._tasks = tasks
            try:
                for name in self._keepers:
                    tasks.create_task(self._keep(name), name=f"link {name}")
                tasks.create_task(self._tick(), name="tick")
                await asyncio.get_running_loop().create_future()
            finally:
                self._tasks = None

    def send(self, link: str, data: bytes, command_id: int) -> None:
        """Send a command by and by."""
        self._start(f"command to {link}", self._send(link, data, command_id))

    def ask_hello(self, link: str, command: bytes) -> None:
        """Have a head introduce itself, by and by."""
        self._start(f"hello of {link}", self._ask_hello(link, command))

    def heard(self, link: str, at_ns: MonotonicNs) -> None:
        """Tell a link's keeper that something valid came."""
        self._keepers[link].note_good(at_ns)

    def rest(self, link: str, until_ns: MonotonicNs) -> None:
        """Let a link's bytes gather until a time."""
        self._keepers[link].rest(until_ns)

    def _moment(self) -> Moment:
        return Moment(self._clock(), self._wall())

    def _take(self, what: Input, moment: Moment | None = None) -> None:
        moment = moment or self._moment()
        if self._transcript is not None:
            self._transcript.note(moment, what)
        self._workings.take(moment, what)

    def _introduce(self, state: str, why: str) -> bytes:
        moment = self._moment()
        if self._transcript is not None:
            self._transcript.note(moment, Introduced(state, why))
        return self._workings.introduce(moment, state, why)

    def _start(self, name: str, work: Coroutine[None, None, None]) -> None:
        if self._tasks is None:
            work.close()
        else:
            self._tasks.create_task(work, name=name)

    async def _keep(self, name: str) -> None:
        """Keep one link; a fault of our own is logged with the link's name, never passed on."""
        while True:
            try:
                await self._keepers[name].run()
            except Exception:
                log.exception("link %s: fault in the program; starting it again", name)
            await asyncio.sleep(RESTART_S)

    async def _on_chunk(self, name: str, chunk: Chunk) -> None:
        waited_ns = self._clock() - chunk.arrived_ns
        moment = Moment(chunk.arrived_ns, self._wall() - waited_ns)
        self._take(Arrived(name, chunk.data), moment)

    def _on_state(self, name: str, change: LinkChange) -> None:
        self._take(LinkIs(name, change, self._keepers[name].reconnects))

    async def _send(self, name: str, data: bytes, command_id: int) -> None:
        try:
            await self._keepers[name].send(data)
        except LinkError as error:
            self._take(NotSent(name, command_id, error))

    async def _ask_hello(self, name: str, command: bytes) -> None:
        with contextlib.suppress(LinkError):  # the keeper meets the same error, and says it
            await self._keepers[name].ask_hello(command)

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TICK_S)
            self._see_offers()
            self._take(Second({name: keeper.dropped for name, keeper in self._keepers.items()}))

    def _see_offers(self) -> None:
        """See whether somebody has added a vehicle or limits meanwhile, in whatever process."""
        offered = self._offers()
        if offered != self._offered:
            self._offered = offered
            self._take(offered)
