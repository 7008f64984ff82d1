"""The bay: which heads there are, by what name, on which wheel. Events in, messages out.

No I/O and no task: ``service`` feeds it. Whoever speaks on a link is known by the identity in
its hello; the names that people use belong to identities, never to ports.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.sensors import Correction
from ingest.chain.chain import ChainSettings
from ingest.core.blocks import SampleBlock
from ingest.core.channels import CHANNELS
from ingest.core.counters import LinkCounters
from ingest.core.errors import LinkSilent
from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import Chunk, HeadNames, LinkForm
from ingest.core.published import PublishedResults
from ingest.core.units import NS
from ingest.payload.evt import Event as EventMessage
from ingest.payload.level_file import LevelFile
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, HeadDesk, LinkSlot, Wheel
from ingest.service.came import Came
from ingest.service.feed import HeadFeed
from ingest.service.ground import ALERT as LEVEL_ALERT
from ingest.service.ground import Ground
from ingest.service.headalerts import HeadAlerts
from ingest.service.instrument import Instrument, fits_as_before, instrument_of
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.live import LiveReadings, LiveSettings
from ingest.service.network import NetworkSettings, NetworkWork
from ingest.service.ports import CalibrationRecords
from ingest.service.push import Push
from ingest.service.sweepfit import SweepSettings
from ingest.service.sweeping import Sweeping
from ingest.service.wheelsettings import WheelSettings
from ingest.service.wheelwork import WheelWork
from ingest.wire.codes import PROTOCOL_MAJOR
from ingest.wire.hello import Hello
from ingest.wire.messages import Report
from ingest.wire.reports import ClockPong, Event, Status

PRESSES_APART_S = 0.2
"""Presses of a button that come closer are one."""


@dataclass(frozen=True, slots=True)
class BaySettings:
    """How a bay measures."""

    chain: ChainSettings = field(default_factory=ChainSettings)
    live: LiveSettings = field(default_factory=LiveSettings)
    wheel: WheelSettings = field(default_factory=WheelSettings)
    network: NetworkSettings = field(default_factory=NetworkSettings)
    sweep: SweepSettings = field(default_factory=SweepSettings)
    level: LevelFile | None = None
    """The survey of the bay's standing points."""
    simulated: bool = False
    """The heads are simulated, so that records of simulated heads may correct them."""
    cross_port_m: tuple[float, float] = (0.0, 0.0)
    track_port_m: tuple[float, float] = (0.0, 0.0)
    """Where sightlines start, forward and outward of the hub, where no record says so."""


class Bay:
    """All heads of one bay."""

    def __init__(
        self,
        settings: BaySettings,
        links: Mapping[str, LinkForm],
        announcer: Announcer,
        names: HeadNames,
        records: CalibrationRecords,
        published: PublishedResults | None = None,
    ) -> None:
        self._settings = settings
        self._announcer = announcer
        self._names = names
        self._records = records
        self._desk = HeadDesk(announcer)
        self.alerts = Alerts(announcer)
        self._about = HeadAlerts(self.alerts, announcer)
        spread = settings.wheel.spread
        offset_m = settings.wheel.clamp_offset_m
        self.network = NetworkWork(
            settings.network, announcer, self.alerts, spread, published, offset_m
        )
        self.ground = Ground(settings.level)
        self.work = WheelWork(settings.wheel, announcer, published, self.network, self.ground)
        self.push = Push(self.work)
        self.sweeping = Sweeping(settings.sweep, self.work, self.network, announcer, self.alerts)
        self.slots: dict[str, LinkSlot] = {}
        for link, form in links.items():
            counters = LinkCounters()
            feed = HeadFeed(settings.chain, self._correction_for, counters, form)
            self.slots[link] = LinkSlot(link, feed, counters)
        self._heads: dict[HeadId, BayHead] = {}

    @property
    def heads(self) -> Mapping[HeadId, BayHead]:
        """Every head that has introduced itself."""
        return self._heads

    @property
    def ports_m(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Where sightlines start across and along, where no record says so."""
        return self._settings.cross_port_m, self._settings.track_port_m

    @property
    def simulated(self) -> bool:
        """Whether the heads are simulated."""
        return self._settings.simulated

    @property
    def spread(self) -> str:
        """What the bay's own spread is known from."""
        return self._settings.wheel.spread.told

    def named(self, name: str) -> BayHead | None:
        """Return the head of that name."""
        return next((head for head in self._heads.values() if head.name == name), None)

    def take(self, link: str, chunk: Chunk) -> list[Report]:
        """Take bytes of a link; return the answers of its head, for whoever waits for them."""
        slot = self.slots[link]
        if not slot.gate.admits(len(chunk.data), chunk.arrived_ns):
            slot.counters.flooded += len(chunk.data)
            return []
        if slot.newest_ns:
            slot.longest_gap_ns = max(slot.longest_gap_ns, chunk.arrived_ns - slot.newest_ns)
        slot.newest_ns = chunk.arrived_ns
        answers: list[Report] = []
        for item in slot.feed.feed(chunk):
            if isinstance(item, list):
                self._measure(slot, item)
            elif isinstance(item, Hello):
                self._meet(slot, item)
            elif isinstance(item, ClockPong):
                slot.trips.take(item, chunk.arrived_ns)
            elif not self._note(slot, item):
                answers.append(item)
        return answers

    def link_changed(self, link: str, change: LinkChange) -> None:
        """Take note of a link's new state, say so once."""
        slot = self.slots[link]
        slot.state = change.state
        if change.state is LinkState.OPENING:
            return
        code = f"link-{self._number(slot)}"
        if change.state is LinkState.OPEN:
            slot.feed.restart()
            slot.trips.restart()
            slot.opened = Came.of(slot.counters)
            self.alerts.clear(code)
        else:
            text = f"{link}: {change.state.value}" if change.error is None else str(change.error)
            if isinstance(change.error, LinkSilent):
                text = f"{text}; {Came.of(slot.counters).since(slot.opened)}"
            self.alerts.set(code, "warning", text)
        if slot.head is not None:
            self._desk.status(slot.head)
            if change.state is not LinkState.OPEN:
                self.work.lost(slot.head)
                self.sweeping.broke(slot.head, "link-lost")
                self._hear_refused()

    def name(self, head: BayHead, name: HeadName) -> None:
        """Give a head another name; raises ``NameTaken``."""
        self._names.set_name(head.id, name)
        if name == head.name:
            return
        self._desk.forget(head, CHANNELS)
        head.name = name
        head.live = LiveReadings(self._settings.live, self._announcer, name)
        self._introduce(head)
        self.work.say_again(head)

    def put_on(self, head: BayHead, wheel: Wheel | None) -> None:
        """Take note of the wheel that a head is on; its run-out of before is void."""
        self.work.unmount(head)
        head.wheel = wheel
        self._desk.status(head)

    def void(self, head: BayHead, why: str) -> None:
        """Take note that what is known of a head's clamp holds no more."""
        self.work.void(head, why)
        self.sweeping.broke(head, why)

    def on_wheel(self, wheel: Wheel) -> BayHead | None:
        """Return the head that is on a wheel."""
        return next((head for head in self._heads.values() if head.wheel == wheel), None)

    def tick(self, since_s: float) -> None:
        """Say what is said once a second."""
        objection = self.ground.objection(self._announcer.today())
        if objection is None:
            self.alerts.clear(LEVEL_ALERT)
        else:
            self.alerts.set(LEVEL_ALERT, "warning", objection)
        for head in self._heads.values():
            self._desk.status(head)
            self._about.record(head)
            if head.slot.head is head:
                self._desk.link(head, since_s)
        for slot in self.slots.values():
            self._about.conduct(slot, self._number(slot), since_s)
            self._about.nameless(slot, self._number(slot), since_s)
            self._about.sensor(slot, self._number(slot))
            self._about.pings(slot, self._number(slot))
            self._about.look(slot, self._number(slot))

    def say_all(self) -> None:
        """Describe every head."""
        for head in self._heads.values():
            self._desk.describe(head)

    def _number(self, slot: LinkSlot) -> int:
        return list(self.slots).index(slot.name) + 1

    def _correction_for(self, hello: Hello) -> Correction:
        known = self._heads.get(hello.head)
        if known is not None and fits_as_before(known.hello, hello):
            return known.instrument.correction
        return self._instrument_of(hello).correction

    def _instrument_of(self, hello: Hello) -> Instrument:
        return instrument_of(hello, self._records, simulated=self._settings.simulated)

    def _measure(self, slot: LinkSlot, blocks: list[SampleBlock]) -> None:
        head, chain = slot.head, slot.feed.chain
        if head is None or chain is None:
            return
        if slot.counters.jumps != slot.jumps_before:
            slot.jumps_before = slot.counters.jumps
            self.void(head, "clock-jump")
        if not blocks:
            return
        slot.values += sum(map(len, blocks))
        head.live.feed(blocks, head.instrument, chain.averaged)
        self.work.feed(head, blocks, chain, self._partner(head))
        self.sweeping.feed(head, blocks)

    def _partner(self, head: BayHead) -> BayHead | None:
        wheel = head.wheel
        if wheel is None:
            return None
        return self.on_wheel(Wheel(wheel.axle, wheel.side.other))

    def _meet(self, slot: LinkSlot, hello: Hello) -> None:
        slot.refused = self._objection(slot, hello)
        code = f"head-{self._number(slot)}"
        if slot.refused is not None:
            self._leave(slot)
            self.alerts.set(code, "warning", slot.refused)
            return
        self.alerts.clear(code)
        head = self._heads.get(hello.head)
        if head is not None and head.slot is slot and slot.head is head and hello == head.hello:
            return
        if slot.head is not head:
            self._leave(slot)
        if head is None:
            head = self._welcome(slot, hello)
        elif head.hello.boot != hello.boot:
            slot.restarts += 1
            self.void(head, "restarted")
        if not fits_as_before(head.hello, hello):
            head.instrument = self._instrument_of(hello)
        if head.slot.head is head:
            head.slot.head = None  # it was moved: what becomes of its old port is not its affair
        head.slot, slot.head, head.hello = slot, head, hello
        self._introduce(head)

    def _leave(self, slot: LinkSlot) -> None:
        """Take note that another speaks on a link now, or a head that cannot be heard."""
        leaving, slot.head = slot.head, None
        if leaving is not None:
            self.void(leaving, "swapped")
            self._desk.status(leaving)
            self._hear_refused()

    def _hear_refused(self) -> None:
        """Let a head in whose twin is gone, or that was moved to another port."""
        for slot in self.slots.values():
            hello = slot.feed.hello
            if slot.refused is not None and hello is not None and slot.state is LinkState.OPEN:
                self._meet(slot, hello)

    def _objection(self, slot: LinkSlot, hello: Hello) -> str | None:
        """Say why a head cannot be heard on this link; None when it can."""
        if not hello.supported:
            return (
                f"{slot.name}: head {hello.head} speaks protocol version "
                f"{hello.major}.{hello.minor}, this program version {PROTOCOL_MAJOR}; "
                "update the older of the two"
            )
        known = self._heads.get(hello.head)
        if known is None or known.slot is slot or not known.online:
            return None
        return (
            f"{slot.name}: answers as head {hello.head} ({known.name}), which is online at "
            f"{known.slot.name}; give one of them an identity of its own"
        )

    def _welcome(self, slot: LinkSlot, hello: Hello) -> BayHead:
        name = self._names.name_of(hello.head) or self._free_name(hello.head)
        instrument = self._instrument_of(hello)
        live = LiveReadings(self._settings.live, self._announcer, name)
        head = BayHead(hello.head, name, slot, hello, instrument, live)
        self._heads[hello.head] = head
        return head

    def _free_name(self, identity: HeadId) -> HeadName:
        """Return a name of the head's own until somebody gives it one."""
        for digits in (4, 8, 16):
            name = HeadName(f"head-{identity[-digits:]}")
            if self._names.head_named(name) is None and self.named(name) is None:
                return name
        raise AssertionError("an identity is unique in full")

    def _introduce(self, head: BayHead) -> None:
        self._desk.describe(head)
        self._desk.status(head)
        self._about.record(head)
        self._about.channels(head)

    def _note(self, slot: LinkSlot, report: Report) -> bool:
        """Deal with what a head says unasked; False for answers."""
        head = slot.head
        if isinstance(report, Status):
            if head is not None:
                head.health = report
            return True
        if isinstance(report, Event):
            if head is not None:
                self._pressed(head)
            return True
        return False

    def _pressed(self, head: BayHead) -> None:
        now_ns, before_ns = head.slot.newest_ns, head.pressed_ns
        head.pressed_ns = now_ns
        if before_ns and now_ns - before_ns < PRESSES_APART_S * NS:
            return  # a contact that chatters: no hand is that fast
        taken = self.work.take_stop(head)
        kind = "stop-taken" if taken.ok else "stop-refused"
        topic = self._announcer.topics.event(kind)
        message = EventMessage(
            **self._announcer.moment(),
            **self._announcer.serial(topic),
            kind=kind,
            head=head.name,
            text=taken.text,
        )
        self._announcer.news(topic, message)
