"""Which heads there are: by what identity, by what name, on which wheel, as which instrument.

Whoever speaks on a link is known by the identity in its hello; the names that people use belong
to identities, never to ports.
"""

from collections.abc import Mapping

from calibration.sensors import Correction
from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import HeadNames
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, LinkSlot, Wheel
from ingest.service.instrument import Instrument, fits_as_before, instrument_of
from ingest.service.live import LiveReadings, LiveSettings
from ingest.service.ports import CalibrationRecords
from ingest.wire.codes import PROTOCOL_MAJOR
from ingest.wire.hello import Hello


class Roster:
    """Every head that has introduced itself since the start. ``simulated``: the heads are."""

    def __init__(
        self,
        names: HeadNames,
        records: CalibrationRecords,
        live: LiveSettings,
        announcer: Announcer,
        *,
        simulated: bool,
    ) -> None:
        self._names = names
        self._records = records
        self._live = live
        self._announcer = announcer
        self._simulated = simulated
        self._heads: dict[HeadId, BayHead] = {}

    @property
    def heads(self) -> Mapping[HeadId, BayHead]:
        """Every head, in the order in which they came."""
        return self._heads

    def named(self, name: str) -> BayHead | None:
        """Return the head of that name."""
        return next((head for head in self._heads.values() if head.name == name), None)

    def on_wheel(self, wheel: Wheel) -> BayHead | None:
        """Return the head that is on a wheel."""
        return next((head for head in self._heads.values() if head.wheel == wheel), None)

    def partner(self, head: BayHead) -> BayHead | None:
        """Return the head on the wheel at the other end of the axle."""
        wheel = head.wheel
        return None if wheel is None else self.on_wheel(Wheel(wheel.axle, wheel.side.other))

    def correction_for(self, hello: Hello) -> Correction:
        """Return what corrects the readings of a head that introduces itself so."""
        known = self._heads.get(hello.head)
        if known is not None and fits_as_before(known.hello, hello):
            return known.instrument.correction
        return self.instrument(hello).correction

    def instrument(self, hello: Hello) -> Instrument:
        """Return what a head that introduces itself so is as an instrument, by its record."""
        return instrument_of(hello, self._records, simulated=self._simulated)

    def objection(self, slot: LinkSlot, hello: Hello) -> str | None:
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

    def welcome(self, slot: LinkSlot, hello: Hello) -> BayHead:
        """Return a head that was never met before, from now on one of ours."""
        name = self._names.name_of(hello.head) or self.free_name(hello.head)
        head = BayHead(hello.head, name, slot, hello, self.instrument(hello), self._readings(name))
        self._heads[hello.head] = head
        return head

    def rename(self, head: BayHead, name: HeadName) -> bool:
        """Give a head a name; return whether it is another one. Raises ``NameTaken``."""
        self._names.set_name(head.id, name)
        if name == head.name:
            return False
        head.name, head.live = name, self._readings(name)
        return True

    def free_name(self, identity: HeadId) -> HeadName:
        """Return a name of the head's own until somebody gives it one."""
        for digits in (4, 8, 16):
            name = HeadName(f"head-{identity[-digits:]}")
            if self._names.head_named(name) is None and self.named(name) is None:
                return name
        raise AssertionError("an identity is unique in full")

    def _readings(self, name: HeadName) -> LiveReadings:
        return LiveReadings(self._live, self._announcer, name)
