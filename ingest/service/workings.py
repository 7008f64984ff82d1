"""The workings of the service: inputs in, messages out. No I/O, no task, no clock of its own.

``service`` feeds it what happens; ``player`` feeds it what was captured. There is no third way.
"""

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

from ingest.core.errors import LinkError
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, HeadNames, LinkForm, Outlet
from ingest.core.published import PublishedResults
from ingest.core.units import NS
from ingest.job.course.keeping import JobStore
from ingest.payload.cmd import Request
from ingest.payload.topics import Topics
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay
from ingest.service.bayhead import BayHead, LinkSlot
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
from ingest.service.jobports import JobShop
from ingest.service.jobview import LiveBayView
from ingest.service.jobwork import JobWork
from ingest.service.linkkeeper import LinkState
from ingest.service.ports import CalibrationRecords
from ingest.service.requests import Answer, Requests
from ingest.service.servicedesk import DeskSettings, ServiceDesk
from ingest.wire.codes import CommandOp
from ingest.wire.commands import ClockPing, Command
from ingest.wire.outgoing import outgoing
from ingest.wire.reports import Ack, Refusal

EARLY = 0.4
"""A link is ready this part of a sample period before the sample that completes a value."""

ASK_HELLO_EVERY_S = 1.0
"""A head that streams without having introduced itself is asked again this often."""

ANSWER_S = 2.0
"""A head that has not answered by then is silent; noticed at the next second."""

CHANGES_SHEET = (CommandOp.RATE, CommandOp.START, CommandOp.STOP)
"""After these a link that keeps the hello on a sheet has to read it again."""


NOBODY_WAITS = 0
"""Stands for the id of a command where there is none: of a clock ping."""


class Answering(Outlet, Protocol):
    """An outlet that commands come in by."""

    def reply(self, request: Request, payload: bytes) -> None: ...


class Hands(Protocol):
    """What the workings have done to links; nothing comes back but by an input."""

    def send(self, link: str, data: bytes, command_id: int) -> None:
        """Send a command; ``NotSent`` says when that failed."""
        ...

    def ask_hello(self, link: str, command: bytes) -> None:
        """Have a head introduce itself."""
        ...

    def heard(self, link: str, at_ns: MonotonicNs) -> None:
        """Take note that something valid came."""
        ...

    def rest(self, link: str, until_ns: MonotonicNs) -> None:
        """Take note that nothing is needed before a time."""
        ...


@dataclass(frozen=True, slots=True)
class WorkSettings:
    """How a bay measures, and what is said of the service itself."""

    bay: BaySettings = field(default_factory=BaySettings)
    desk: DeskSettings = field(default_factory=DeskSettings)
    pings: bool = False
    """Heads are pinged. A capture of a program that sent no pings does not say so, and its heads
    left none unanswered."""
    people: tuple[str, ...] = ()
    """Who may lead a job, by their names at the broker; empty: whoever reaches it."""
    jobs: bool = False
    """Jobs are kept. A capture of a service that kept none says nothing of them."""


@dataclass(frozen=True, slots=True)
class Jobs:
    """Where jobs are kept, and what they can be opened with."""

    store: JobStore
    shop: JobShop
    offers: Callable[[], Offered] = Offered
    """What they can be opened with now; asked every second, and never raises."""


@dataclass(frozen=True, slots=True)
class _Waiting:
    since_ns: MonotonicNs
    then: Callable[[Answer], None]


class Workings:
    """Takes one input after the other. The same inputs give the same messages, byte for byte."""

    def __init__(
        self,
        settings: WorkSettings,
        topics: Topics,
        forms: Mapping[str, LinkForm],
        outlet: Answering,
        hands: Hands,
        *,
        names: HeadNames,
        records: CalibrationRecords,
        boot: str,
        published: PublishedResults | None = None,
        jobs: Jobs | None = None,
    ) -> None:
        self._now = Moment(MonotonicNs(0), 0)
        self._topics = topics
        self._pings = settings.pings
        self._forms = dict(forms)
        self._outlet = outlet
        self._hands = hands
        announcer = Announcer(topics, outlet, self._at_ns, self._wall_ns, boot)
        self.bay = Bay(settings.bay, forms, announcer, names, records, published)
        self._desk = ServiceDesk(settings.desk, settings.bay.live, announcer)
        self.jobs: JobWork | None = None
        if jobs is not None:
            view = LiveBayView(self.bay, announcer)
            self.jobs = JobWork(
                jobs.store, jobs.shop, view, announcer, self.bay.alerts, settings.people
            )
            announcer.verdicts = self.jobs.verdicts
        self._requests = Requests(
            self.bay, announcer, self._at_ns, outlet.reply, self._ask, self.jobs
        )
        self._waiting: dict[tuple[str, int], _Waiting] = {}
        self._command_ids = itertools.cycle(range(1, 1 << 16))
        self._hello_asked_ns: dict[str, int] = {}
        self._second_ns = MonotonicNs(0)

    def take(self, moment: Moment, what: Input) -> None:
        """Take an input; all that it brings about is said before this returns."""
        self._now = moment
        match what:
            case Arrived(link, data):
                self._arrived(link, Chunk(data, moment.at_ns))
            case Second(dropped):
                self._second(dropped)
            case Asked(request):
                self._requests.carry_out(request)
            case LinkIs():
                self._link_is(what)
            case NotSent(link, command_id) if command_id == NOBODY_WAITS:
                self.bay.slots[link].trips.not_sent()
            case NotSent(link, command_id, error):
                self._answered(link, command_id, error)
            case Introduced(state, why):
                status = self.introduce(moment, state, why)
                self._outlet.publish(self._topics.status, status, retain=True, qos=1, expiry_s=None)
            case Warned(code, text, level):
                self.bay.alerts.set(code, level, text)
            case Offered():
                self._desk.offer(what)
            case Began():
                self._second_ns = moment.at_ns
                self._desk.refresh(self.bay)
                if self.jobs is not None:
                    self.jobs.take_up()

    def introduce(self, moment: Moment, state: str, why: str) -> bytes:
        """Return a fresh ``svc/status``, for an outlet that has to say it in its own way."""
        self._now = moment
        return self._desk.status(state, why).encode()

    def _at_ns(self) -> MonotonicNs:
        return self._now.at_ns

    def _wall_ns(self) -> int:
        return self._now.wall_ns

    def _arrived(self, link: str, chunk: Chunk) -> None:
        slot = self.bay.slots[link]
        before = slot.counters.frames
        for answer in self.bay.take(link, chunk):
            if isinstance(answer, Ack | Refusal):
                self._answered(link, answer.command_id, answer)
        if self.jobs is not None:
            self.jobs.watch()
            self.jobs.live()
        if slot.counters.frames > before:
            self._hands.heard(link, chunk.arrived_ns)
        if slot.feed.chain is not None:
            quiet_ns = round((slot.feed.chain.quiet_s - EARLY * slot.feed.chain.period_s) * NS)
            self._hands.rest(link, MonotonicNs(chunk.arrived_ns + quiet_ns))
        if slot.feed.hello is None:
            self._ask_hello(slot)

    def _link_is(self, what: LinkIs) -> None:
        self.bay.link_changed(what.link, what.change)
        slot = self.bay.slots[what.link]
        slot.counters.reconnects = what.reconnects
        if self.jobs is not None:
            self.jobs.watch()
        if what.change.state is LinkState.OPEN:
            self._hello_asked_ns.pop(what.link, None)
            self._ask_hello(slot)

    def _ask_hello(self, slot: LinkSlot) -> None:
        last_ns, now_ns = self._hello_asked_ns.get(slot.name), self._now.at_ns
        if last_ns is not None and now_ns - last_ns < ASK_HELLO_EVERY_S * NS:
            return
        self._hello_asked_ns[slot.name] = now_ns
        command = Command(CommandOp.HELLO, next(self._command_ids))
        self._hands.ask_hello(slot.name, outgoing(command, self._forms[slot.name]))

    def _ask(self, head: BayHead, command: Command, then: Callable[[Answer], None]) -> None:
        link, command_id = head.slot.name, next(self._command_ids)
        self._waiting[link, command_id] = _Waiting(self._now.at_ns, then)
        asked = replace(command, command_id=command_id)
        self._hands.send(link, outgoing(asked, self._forms[link]), command_id)

    def _answered(self, link: str, command_id: int, answer: Ack | Refusal | LinkError) -> None:
        waiting = self._waiting.pop((link, command_id), None)
        if waiting is None:
            return
        if isinstance(answer, Ack) and answer.op in CHANGES_SHEET:
            self._read_sheet(link)
        waiting.then(answer)

    def _read_sheet(self, link: str) -> None:
        """Read a hello again that was changed; over a stream of bytes the head sends it itself."""
        if self._forms[link] is LinkForm.BODIES:
            self._hello_asked_ns.pop(link, None)
            self._ask_hello(self.bay.slots[link])

    def _second(self, dropped: Mapping[str, int]) -> None:
        for link, count in dropped.items():
            self.bay.slots[link].counters.dropped = count
        for key, waiting in list(self._waiting.items()):
            if self._now.at_ns - waiting.since_ns > ANSWER_S * NS:
                del self._waiting[key]
                waiting.then(None)
        if self._now.at_ns > self._second_ns:
            self.bay.tick((self._now.at_ns - self._second_ns) * 1e-9)
            self._second_ns = self._now.at_ns
        if self._pings:
            self._ping()
        self._desk.refresh(self.bay)
        if self.jobs is not None:
            self.jobs.tell()

    def _ping(self) -> None:
        for slot in self.bay.slots.values():
            if slot.head is None or not slot.head.online:
                continue
            ping_id = slot.trips.next_ping(self._now.at_ns)
            if ping_id is not None:
                ping = outgoing(ClockPing(ping_id), self._forms[slot.name])
                self._hands.send(slot.name, ping, NOBODY_WAITS)
