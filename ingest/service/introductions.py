"""Who speaks on which link: heads introduce themselves, leave, are moved, swapped or refused."""

from collections.abc import Collection

from ingest.service.bayhead import BayHead, LinkSlot
from ingest.service.headalerts import HeadAlerts
from ingest.service.headdesk import HeadDesk
from ingest.service.instrument import fits_as_before
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.measuring import Measuring
from ingest.service.roster import Roster
from ingest.wire.hello import Hello


class Introductions:
    """Brings heads and links together, and says so."""

    def __init__(
        self,
        slots: Collection[LinkSlot],
        roster: Roster,
        measuring: Measuring,
        desk: HeadDesk,
        about: HeadAlerts,
    ) -> None:
        self._slots = slots
        self._roster = roster
        self._measuring = measuring
        self._desk = desk
        self._about = about

    def link_changed(self, slot: LinkSlot, change: LinkChange) -> None:
        """Take note of a link's new state, say so once."""
        slot.state = change.state
        if change.state is LinkState.OPENING:
            return
        if change.state is LinkState.OPEN:
            slot.restart()
        self._about.link(slot, change)
        if slot.head is not None:
            self._desk.status(slot.head)
            if change.state is not LinkState.OPEN:
                self._measuring.lost(slot.head)
                self._hear_refused()

    def meet(self, slot: LinkSlot, hello: Hello) -> None:
        """Take note of who speaks on a link by its own word."""
        slot.refused = self._roster.objection(slot, hello)
        if slot.refused is not None:
            self._leave(slot)
            self._about.refused(slot)
            return
        self._about.refused(slot)
        head = self._roster.heads.get(hello.head)
        if head is not None and head.slot is slot and slot.head is head and hello == head.hello:
            return
        if slot.head is not head:
            self._leave(slot)
        if head is None:
            head = self._roster.welcome(slot, hello)
        elif head.hello.boot != hello.boot:
            slot.restarts += 1
            self._measuring.void(head, "restarted")
        if not fits_as_before(head.hello, hello):
            head.instrument = self._roster.instrument(hello)
        if head.slot.head is head:
            head.slot.head = None  # it was moved: what becomes of its old port is not its affair
        head.slot, slot.head, head.hello = slot, head, hello
        self.introduce(head)

    def introduce(self, head: BayHead) -> None:
        """Say all that a display has to know of a head before it reads it."""
        self._desk.describe(head)
        self._desk.status(head)
        self._about.record(head)
        self._about.channels(head)

    def _leave(self, slot: LinkSlot) -> None:
        """Take note that another speaks on a link now, or a head that cannot be heard."""
        leaving, slot.head = slot.head, None
        if leaving is not None:
            self._measuring.void(leaving, "swapped")
            self._desk.status(leaving)
            self._hear_refused()

    def _hear_refused(self) -> None:
        """Let a head in whose twin is gone, or that was moved to another port."""
        for slot in self._slots:
            hello = slot.feed.hello
            if slot.refused is not None and hello is not None and slot.state is LinkState.OPEN:
                self.meet(slot, hello)
