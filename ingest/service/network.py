"""The sightline networks of the present set-up: fed with what settled heads read, solved, told.

A head's readings of one moment share their rest, their clamp and their calibration; a sightline's
two ends share both ports. All of it goes into the adjustment (``correlated``). Pure: time is that
of the samples.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.core.published import PublishedResults
from ingest.geometry.network.stations import Network
from ingest.geometry.sightline import OFFSET_RMS_M
from ingest.payload.network_file import NetworkFile
from ingest.payload.network_live import LiveNetwork, live_network_of
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import Wheel
from ingest.service.bayspread import SpreadSettings
from ingest.service.networkalerts import NetworkAlerts
from ingest.service.networkdesk import NetworkDesk
from ingest.service.networklines import Wanted
from ingest.service.networkpart import NetworkPart
from ingest.service.sightlines import Sat
from ingest.service.stood import Stood


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """The networks that heads fill: one for each rigid frame, as their files state them."""

    files: tuple[NetworkFile, ...] = ()

    def live(self) -> tuple[LiveNetwork, ...]:
        """Return them as networks. Raises ``NetworkFileError``."""
        return tuple(live_network_of(file) for file in self.files)


class NetworkWork:
    """Takes sightlines to the network that they belong to; asks all networks what they tell."""

    def __init__(
        self,
        settings: NetworkSettings,
        announcer: Announcer,
        alerts: Alerts,
        spread: SpreadSettings,
        published: PublishedResults | None = None,
        clamp_offset_m: float = OFFSET_RMS_M,
    ) -> None:
        self.clamp_offset_m = clamp_offset_m
        self.spread = spread
        self._alerts = alerts
        self._announcer = announcer
        self._published = published
        self._parts: list[NetworkPart] = []
        self._at: dict[Wheel, NetworkPart] = {}
        self.load(settings)

    def load(self, settings: NetworkSettings) -> None:
        """Take other networks; of one that is as before what was read of it stays.

        Raises ``NetworkFileError``; then nothing has changed.
        """
        before = {part.identity: part for part in self._parts}
        parts = []
        for number, live in enumerate(settings.live(), start=1):
            part = self._part(live, number)
            parts.append(before.pop(part.identity, part))
        for left in before.values():
            left.gone()
        self._parts = parts
        self._at = {wheel: part for part in parts for wheel in part.wanted}

    def _part(self, live: LiveNetwork, number: int) -> NetworkPart:
        desk = NetworkDesk(live.network, self._announcer, self.spread, self._published, number)
        alerts = NetworkAlerts(self._alerts, number)
        return NetworkPart(live, desk, alerts, self.spread, self.clamp_offset_m)

    def forget_results(self) -> None:
        """Clear all results and drop all readings."""
        for part in self._parts:
            part.forget_results()

    @property
    def standing(self) -> dict[str, Measured]:
        """What stands now, by topic, in rad and m, unrounded, with all correlations."""
        return {t: m for part in self._parts for t, m in part.desk.standing.items()}

    def stood(self, due: Collection[Wheel] = ()) -> dict[str, Stood]:
        """Return the same, as it was published, of the networks that none of these wheels is in.

        While a head is yet to read its sightlines, the others tell the same results from fewer,
        and far less well.
        """
        waiting = [self._at.get(wheel) for wheel in due]
        whole = (part for part in self._parts if part not in waiting)
        return {t: stood for part in whole for t, stood in part.desk.stood.items()}

    def tells_toe(self, axle: int) -> bool:
        """Say whether an axle's total toe is the network's to tell: both its cross lines are."""
        ends = (self.wanted(Wheel(axle, side)) for side in Side)
        return all(any(wanted.to.axle == axle for wanted in end) for end in ends)

    def wanted(self, wheel: Wheel) -> Sequence[Wanted]:
        """Return the sightlines that a head on a wheel may read, the nearest partner first."""
        part = self._at.get(wheel)
        return () if part is None else part.wanted[wheel]

    def lines(self, wheel: Wheel) -> list[tuple[Network, Wanted]]:
        """Return the sightlines that a head on a wheel may read, with the network of each."""
        part = self._at.get(wheel)
        return [] if part is None else [(part.network, each) for each in part.wanted[wheel]]

    def standing_of(self, wheel: Wheel) -> int:
        """Return how often a wheel is known to have been moved."""
        part = self._at.get(wheel)
        return 0 if part is None else part.rows.standing(wheel)

    def settled(self, wheel: Wheel, camber_rad: float) -> None:
        """Take note of a wheel at rest."""
        part = self._at.get(wheel)
        if part is not None:
            part.withdraw(part.rows.settled(wheel, camber_rad), "moved")

    def read(self, wheel: Wheel, wanted: Wanted, ends: tuple[Sat, Sat]) -> bool:
        """Take a sightline; say whether it is the one that the head looks along."""
        return self._at[wheel].take(wheel, wanted, ends)

    def reads(self, wheel: Wheel, wanted: Wanted) -> bool:
        """Say whether a sightline has been read, and its heads still sit and rest as they did."""
        return self._at[wheel].rows.is_live(wanted.place)

    def peek(
        self, axle: int, seen: Sequence[tuple[Wheel, Wanted, tuple[Sat, Sat]]]
    ) -> Mapping[str, Measured]:
        """Return what the network of an axle would tell with its sightlines read so.

        By topic below the bay; nothing is kept. Empty where there is no network, or it cannot be
        solved.
        """
        part = self._at.get(Wheel(axle, Side.LEFT))
        return {} if part is None else part.peek(axle, seen)

    def foretold(self, at: str, to: str) -> Measured | None:
        """Return the distance between two hubs, m, as the readings that hold tell it.

        None where no network has both, or it is not determined by now.
        """
        for part in self._parts:
            ids = {station.id for station in part.network.stations}
            if {at, to} <= ids and part.rows.held:
                return part.foretold(at, to)
        return None

    def rests(self, mounting: int, why: str) -> None:
        """Take note that a head or its wheel moves, or that it is not heard."""
        for part in self._parts:
            part.withdraw(part.rows.rest(mounting), why)

    def void(self, mounting: int, why: str) -> None:
        """Take note that what is known of a clamp holds no more."""
        for part in self._parts:
            part.withdraw(part.rows.void(mounting), why)

    def turning(self, wheel: Wheel, why: str) -> None:
        """Take note that the wheels of an axle are about to be moved: jacked, pushed, turned at."""
        part = self._at.get(wheel)
        if part is not None:
            part.moved(wheel.axle, why)

    def untaped(self, wheel: Wheel, why: str) -> None:
        """Take note that a hub is about to be shifted: tapes from it to a pin hold no longer."""
        part = self._at.get(wheel)
        if part is not None:
            part.untape(wheel, why)

    def closed(self, mounting: int, *, stood: bool) -> None:
        """Take note that a head is off: what it read stays as long as its wheel stands.

        ``stood``: the wheel was seen to rest until the head was taken off.
        """
        for part in self._parts:
            if part.rows.close(mounting, stood=stood):
                part.solve()

    def tell(self, wheel: Wheel, now_ns: int) -> None:
        """Adjust the network of a wheel with what holds now; publish."""
        part = self._at.get(wheel)
        if part is not None:
            part.tell(now_ns)
