"""One head, and one link, as the bay knows them."""

from dataclasses import dataclass, field
from datetime import date

from ingest.core.counters import LinkCounters
from ingest.core.frames import Side
from ingest.core.ids import HeadId, HeadName
from ingest.payload.base import Quality
from ingest.service.came import Came
from ingest.service.conduct import Conduct
from ingest.service.feed import HeadFeed
from ingest.service.flood import FloodGate
from ingest.service.instrument import Instrument
from ingest.service.linkkeeper import LinkState
from ingest.service.live import LiveReadings
from ingest.service.nameless import Nameless
from ingest.service.roundtrip import RoundTrips
from ingest.wire.codes import Mounting
from ingest.wire.hello import Hello
from ingest.wire.reports import Status


@dataclass(frozen=True, slots=True)
class Wheel:
    """Which wheel a head is on; axles count from 1 at the front."""

    axle: int
    side: Side


@dataclass(slots=True, eq=False)
class LinkSlot:
    """One configured link and what came over it. ``head`` is who speaks there now.

    ``number``: in the order of the configuration, from 1; it tells the link's alerts apart.
    """

    name: str
    number: int
    feed: HeadFeed
    counters: LinkCounters
    state: LinkState = LinkState.OPENING
    head: "BayHead | None" = None
    refused: str | None = None
    """Why whoever speaks there is not heard."""
    newest_ns: int = 0
    longest_gap_ns: int = 0
    samples_before: int = 0
    gate: FloodGate = field(default_factory=FloodGate)
    conduct: Conduct = field(default_factory=Conduct)
    trips: RoundTrips = field(default_factory=RoundTrips)
    values: int = 0
    """Values that have come out of the chain."""
    jumps_before: int = 0
    restarts: int = 0
    """Starts of its head, by its hellos."""
    nameless: Nameless = field(default_factory=Nameless)
    opened: Came = field(default_factory=Came)
    """What had come when the link was opened last."""

    def restart(self) -> None:
        """Forget what was half received: the link was opened anew."""
        self.feed.restart()
        self.trips.restart()
        self.opened = Came.of(self.counters)


@dataclass(slots=True, eq=False)
class BayHead:
    """A head that has introduced itself since the service started."""

    id: HeadId
    name: HeadName
    slot: LinkSlot
    hello: Hello
    instrument: Instrument
    live: LiveReadings
    wheel: Wheel | None = None
    health: Status | None = None
    pressed_ns: int = 0
    """When its button was last heard."""
    said: tuple[object, ...] = field(default=())

    @property
    def fixed(self) -> bool:
        """Whether it turns with its wheel, rather than hang on its shaft."""
        return self.hello.mounting is Mounting.FIXED

    @property
    def online(self) -> bool:
        """Whether its readings can be taken now."""
        return self.slot.head is self and self.slot.state is LinkState.OPEN


def condition(head: BayHead, today: date) -> tuple[str, Quality, str]:
    """Return the head's state, its quality and the reason in one word."""
    if not head.online:
        state = head.slot.state if head.slot.head is head else LinkState.ABSENT
        return "offline", "stale", f"link-{state.value}"
    quality, why = head.instrument.trust(today)
    return "online" if quality == "good" else "degraded", quality, why
