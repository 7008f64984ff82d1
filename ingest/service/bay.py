"""The bay: its links and heads, and what is measured with them. Bytes in, messages out.

No I/O and no task: ``service`` feeds it.
"""

from collections.abc import Mapping

from ingest.core.blocks import SampleBlock
from ingest.core.counters import LinkCounters
from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import Chunk, HeadNames, LinkForm
from ingest.core.published import PublishedResults
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, LinkSlot, Wheel
from ingest.service.baysettings import BaySettings
from ingest.service.button import Button
from ingest.service.feed import HeadFeed
from ingest.service.headalerts import HeadAlerts
from ingest.service.headdesk import HeadDesk
from ingest.service.introductions import Introductions
from ingest.service.linkkeeper import LinkChange
from ingest.service.measuring import Measuring
from ingest.service.ports import CalibrationRecords
from ingest.service.roster import Roster
from ingest.wire.hello import Hello
from ingest.wire.messages import Report
from ingest.wire.reports import ClockPong, Event, Status


class Bay:
    """All heads of one bay, and the parts that measure with them."""

    def __init__(
        self,
        settings: BaySettings,
        links: Mapping[str, LinkForm],
        announcer: Announcer,
        names: HeadNames,
        records: CalibrationRecords,
        published: PublishedResults | None = None,
    ) -> None:
        self.settings = settings
        self.alerts = Alerts(announcer)
        self._measuring = Measuring(settings, announcer, self.alerts, published)
        self.network, self.ground = self._measuring.network, self._measuring.ground
        self.work, self.push = self._measuring.work, self._measuring.push
        self.sweeping = self._measuring.sweeping
        self._roster = Roster(
            names, records, settings.live, announcer, simulated=settings.simulated
        )
        self._desk = HeadDesk(announcer)
        self._about = HeadAlerts(self.alerts, announcer)
        self._button = Button(self.work, announcer)
        self.slots: dict[str, LinkSlot] = {}
        for number, (link, form) in enumerate(links.items(), 1):
            counters = LinkCounters()
            feed = HeadFeed(settings.chain, self._roster.correction_for, counters, form)
            self.slots[link] = LinkSlot(link, number, feed, counters)
        self._introductions = Introductions(
            self.slots.values(), self._roster, self._measuring, self._desk, self._about
        )

    @property
    def heads(self) -> Mapping[HeadId, BayHead]:
        """Every head that has introduced itself."""
        return self._roster.heads

    def named(self, name: str) -> BayHead | None:
        """Return the head of that name."""
        return self._roster.named(name)

    def on_wheel(self, wheel: Wheel) -> BayHead | None:
        """Return the head that is on a wheel."""
        return self._roster.on_wheel(wheel)

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
                self._introductions.meet(slot, item)
            elif isinstance(item, ClockPong):
                slot.trips.take(item, chunk.arrived_ns)
            elif isinstance(item, Status | Event):
                self._note(slot.head, item)
            else:
                answers.append(item)
        return answers

    def link_changed(self, link: str, change: LinkChange) -> None:
        """Take note of a link's new state, say so once."""
        self._introductions.link_changed(self.slots[link], change)

    def name(self, head: BayHead, name: HeadName) -> None:
        """Give a head another name; raises ``NameTaken``."""
        before = head.name
        if not self._roster.rename(head, name):
            return
        self._desk.forget(before)
        self._introductions.introduce(head)
        self.work.say_again(head)

    def put_on(self, head: BayHead, wheel: Wheel | None) -> None:
        """Take note of the wheel that a head is on; its run-out of before is void."""
        self.work.unmount(head)
        head.wheel = wheel
        self._desk.status(head)

    def void(self, head: BayHead, why: str) -> None:
        """Take note that what is known of a head's clamp holds no more."""
        self._measuring.void(head, why)

    def tick(self, since_s: float) -> None:
        """Say what is said once a second."""
        self._measuring.see_ground()
        for head in self.heads.values():
            self._desk.status(head)
            self._about.record(head)
            if head.slot.head is head:
                self._desk.link(head, since_s)
        for slot in self.slots.values():
            self._about.came(slot, since_s)

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
        self._measuring.feed(head, blocks, chain, self._roster.partner(head))

    def _note(self, head: BayHead | None, told: Status | Event) -> None:
        """Take note of what a head says unasked."""
        if head is None:
            return
        if isinstance(told, Status):
            head.health = told
        else:
            self._button.pressed(head)
