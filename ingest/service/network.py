"""The sightline networks of the present set-up: fed with what settled heads read, solved, told.

A head's readings of one moment share their rest, their clamp and their calibration; a sightline's
two ends share both ports. All of it goes into the adjustment (``correlated``). Pure: time is that
of the samples.
"""

import contextlib
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from calibration.measured import Measured
from ingest.core.channels import Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.published import PublishedResults
from ingest.core.units import NS
from ingest.geometry.network.correlated import Solved, solve
from ingest.geometry.network.proving import foretold
from ingest.geometry.network.stations import Network, Reading
from ingest.geometry.sightline import OFFSET_RMS_M
from ingest.payload.network_file import NetworkFile
from ingest.payload.network_live import LiveNetwork, live_network_of
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import Wheel
from ingest.service.bayspread import SpreadSettings
from ingest.service.networkdesk import UNSOLVED, NetworkDesk
from ingest.service.networkrows import Row, Rows
from ingest.service.networkwords import disagreement, doubt, lacking, wide
from ingest.service.sightlines import Sat, look
from ingest.service.stood import Stood

WIDER = 0.1
"""What a result stands on is told again when its uncertainty has changed by about so much of it."""

AGAIN_S = 0.9
"""A network whose readings improve is adjusted again about every second, however many heads."""


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """The networks that heads fill: one for each rigid frame, as their files state them."""

    files: tuple[NetworkFile, ...] = ()

    def live(self) -> tuple[LiveNetwork, ...]:
        """Return them as networks. Raises ``NetworkFileError``."""
        return tuple(live_network_of(file) for file in self.files)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A sightline that a head on some wheel may read."""

    place: int
    channel: Channel
    to: Wheel
    away_m: float


@dataclass(slots=True)
class _Part:
    """One network and what is read of it."""

    live: LiveNetwork
    desk: NetworkDesk
    code: str
    rows: Rows = field(default_factory=Rows)
    tapes: dict[int, Measured] = field(default_factory=dict)
    lacked: tuple[str, ...] = ()
    wide: tuple[str, int] | None = None
    """What was said to be known least well, and how well, in steps of ``WIDER``."""
    solved_ns: int = 0
    solved: frozenset[int] = frozenset()
    """When it was adjusted last, by the samples' time, and from which readings."""


class NetworkWork:
    """Takes sightlines, keeps those that hold, publishes what they determine."""

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
        self._parts: list[_Part] = []
        self._at: dict[Wheel, tuple[_Part, list[Wanted]]] = {}
        self.load(settings)

    def load(self, settings: NetworkSettings) -> None:
        """Take other networks; of one that is as before what was read of it stays.

        Raises ``NetworkFileError``; then nothing has changed.
        """
        before = {id_of(part.live): part for part in self._parts}
        parts = []
        for number, live in enumerate(settings.live(), start=1):
            same = before.pop(id_of(live), None)
            parts.append(same if same is not None else self._part(live, number))
        for gone in before.values():
            gone.desk.forget_results()
            self._alerts.clear(gone.code)
            self._alerts.clear(f"{gone.code}-lacks")
            self._alerts.clear(f"{gone.code}-wide")
        self._parts = parts
        self._at = dict(self._wheels())

    def forget_results(self) -> None:
        """Clear all results and drop all readings."""
        for part in self._parts:
            part.desk.forget_results()
            part.rows = Rows()
            part.solved = frozenset()

    def _part(self, live: LiveNetwork, number: int) -> _Part:
        desk = NetworkDesk(live.network, self._announcer, self.spread, self._published, number)
        code = "network" if number == 1 else f"network-{number}"
        return _Part(live, desk, code, tapes=_tapes(live.network.readings))

    def _wheels(self) -> Iterator[tuple[Wheel, tuple[_Part, list[Wanted]]]]:
        for part in self._parts:
            network = part.live.network
            for station in network.wheels():
                wheel = _wheel(station.axle, station.side)
                wanted = []
                for place, channel in part.live.channels.items():
                    line = network.readings[place].line
                    if line.at == station.id:
                        to = network.station(line.to)
                        away_m = abs(to.x_m - station.x_m) + abs(to.y_m - station.y_m)
                        wanted.append(Wanted(place, channel, _wheel(to.axle, to.side), away_m))
                yield wheel, (part, sorted(wanted, key=lambda each: each.away_m))

    @property
    def standing(self) -> dict[str, Measured]:
        """What stands now, by topic, in rad and m, unrounded, with all correlations."""
        return {t: m for part in self._parts for t, m in part.desk.standing.items()}

    def stood(self, due: Collection[Wheel] = ()) -> dict[str, Stood]:
        """Return the same, as it was published, of the networks that none of these wheels is in.

        While a head is yet to read its sightlines, the others tell the same results from fewer,
        and far less well.
        """
        waiting = [id(self._at[wheel][0]) for wheel in due if wheel in self._at]
        whole = (part for part in self._parts if id(part) not in waiting)
        return {t: stood for part in whole for t, stood in part.desk.stood.items()}

    def tells_toe(self, axle: int) -> bool:
        """Say whether an axle's total toe is the network's to tell: both its cross lines are."""
        ends = [self._at.get(Wheel(axle, side)) for side in Side]
        return all(end is not None and any(w.to.axle == axle for w in end[1]) for end in ends)

    def wanted(self, wheel: Wheel) -> Sequence[Wanted]:
        """Return the sightlines that a head on a wheel may read, the nearest partner first."""
        found = self._at.get(wheel)
        return () if found is None else found[1]

    def lines(self, wheel: Wheel) -> list[tuple[Network, Wanted]]:
        """Return the sightlines that a head on a wheel may read, with the network of each."""
        found = self._at.get(wheel)
        return [] if found is None else [(found[0].live.network, each) for each in found[1]]

    def standing_of(self, wheel: Wheel) -> int:
        """Return how often a wheel is known to have been moved."""
        found = self._at.get(wheel)
        return 0 if found is None else found[0].rows.standing(wheel)

    def settled(self, wheel: Wheel, camber_rad: float) -> None:
        """Take note of a wheel at rest."""
        found = self._at.get(wheel)
        if found is not None:
            part, _ = found
            _withdraw(part, part.rows.settled(wheel, camber_rad), "moved")

    def read(self, wheel: Wheel, wanted: Wanted, ends: tuple[Sat, Sat]) -> bool:
        """Take a sightline; say whether it is the one that the head looks along."""
        part, _ = self._at[wheel]
        network = part.live.network
        try:
            seen = self._look(network, wanted, ends)
        except MeasurementRefused:
            return False
        if seen is None:
            return False
        t_ns = max(sat.rest.t_ns for sat in ends)
        part.rows.take(Row(wanted.place, *seen, t_ns, ends, (wheel, wanted.to)))
        return True

    def reads(self, wheel: Wheel, wanted: Wanted) -> bool:
        """Say whether a sightline has been read, and its heads still sit and rest as they did."""
        part, _ = self._at[wheel]
        return part.rows.is_live(wanted.place)

    def _look(
        self, network: Network, wanted: Wanted, ends: tuple[Sat, Sat]
    ) -> tuple[Reading, Measured] | None:
        reading = network.readings[wanted.place]
        return look(network, reading, wanted.channel, ends, self.spread, self.clamp_offset_m)

    def peek(
        self, axle: int, seen: Sequence[tuple[Wheel, Wanted, tuple[Sat, Sat]]]
    ) -> Mapping[str, Measured]:
        """Return what a network would tell with sightlines at an axle read so; nothing is kept.

        By topic below the bay. Sightlines elsewhere are those that hold. Empty where the network
        cannot be solved.
        """
        found = self._at.get(Wheel(axle, Side.LEFT))
        if found is None:
            return {}
        part, _ = found
        network = part.live.network
        rows = [row for row in part.rows.held if all(w.axle != axle for w in row.wheels)]
        read = {row.place: (row.reading, row.measured) for row in rows}
        for _, wanted, ends in seen:
            with contextlib.suppress(MeasurementRefused):
                looked = self._look(network, wanted, ends)
                if looked is not None:
                    read[wanted.place] = looked
        try:
            return part.desk.named(_solved(part, read))
        except MeasurementRefused:
            return {}

    def foretold(self, at: str, to: str) -> Measured | None:
        """Return the distance between two hubs, m, as the readings that hold tell it.

        None where no network has both, or it is not determined by now.
        """
        for part in self._parts:
            ids = {station.id for station in part.live.network.stations}
            read = {row.place: (row.reading, row.measured) for row in part.rows.held}
            if not {at, to} <= ids or not read:
                continue
            try:
                return foretold(_solved(part, read).adjusted, at, to)
            except MeasurementRefused:
                return None
        return None

    def rests(self, mounting: int, why: str) -> None:
        """Take note that a head or its wheel moves, or that it is not heard."""
        for part in self._parts:
            _withdraw(part, part.rows.rest(mounting), why)

    def void(self, mounting: int, why: str) -> None:
        """Take note that what is known of a clamp holds no more."""
        for part in self._parts:
            _withdraw(part, part.rows.void(mounting), why)

    def turning(self, wheel: Wheel, why: str) -> None:
        """Take note that the wheels of an axle are about to be moved: jacked, pushed, turned at."""
        found = self._at.get(wheel)
        if found is not None:
            part, _ = found
            _withdraw(part, part.rows.moved(wheel.axle), why)

    def untaped(self, wheel: Wheel, why: str) -> None:
        """Take note that a hub is about to be shifted: tapes from it to a pin hold no longer."""
        found = self._at.get(wheel)
        if found is not None:
            part, _ = found
            _withdraw(part, _drop_tapes(part, wheel), why)

    def closed(self, mounting: int, *, stood: bool) -> None:
        """Take note that a head is off: what it read stays as long as its wheel stands.

        ``stood``: the wheel was seen to rest until the head was taken off.
        """
        for part in self._parts:
            if part.rows.close(mounting, stood=stood):
                self._solve(part)

    def tell(self, wheel: Wheel, now_ns: int) -> None:
        """Adjust the network of a wheel with what holds now; publish.

        At once where a sightline is new; every now and then while those there are improve.
        """
        found = self._at.get(wheel)
        if found is None:
            return
        part, _ = found
        held = frozenset(row.place for row in part.rows.held)
        if held != part.solved or now_ns - part.solved_ns >= AGAIN_S * NS:
            part.solved, part.solved_ns = held, now_ns
            self._solve(part)

    def _solve(self, part: _Part) -> None:
        rows = {row.place: row for row in part.rows.held}
        if not rows:
            return
        try:
            read = {place: (row.reading, row.measured) for place, row in rows.items()}
            solved = _solved(part, read)
        except MeasurementRefused as error:
            # Few sightlines may leave positions that no step settles; all of them may not.
            partial = any(place not in rows for place in part.live.channels)
            self._alerts.set(part.code, "note" if partial else "warning", str(error)[:200])
            part.desk.withdraw(set(rows), UNSOLVED)
            return
        part.desk.say(solved, rows)
        self._judge(part, solved)
        self._lacks(part, solved, rows)
        self._wide(part, solved, rows)

    def _judge(self, part: _Part, solved: Solved) -> None:
        noted = doubt(solved)
        if not solved.fits:
            self._alerts.set(part.code, "warning", disagreement(solved))
        elif noted is not None:
            self._alerts.set(part.code, "note", noted)
        else:
            self._alerts.clear(part.code)

    def _wide(self, part: _Part, solved: Solved, rows: dict[int, Row]) -> None:
        """Say on what the widest result stands, once the file's own sightlines are all read."""
        code = f"{part.code}-wide"
        told = part.desk.widest() if all(p in rows for p in part.live.channels) else None
        if told is None:
            part.wide = None
            self._alerts.clear(code)
            return
        about = told.result.quantity.label, round(math.log(told.u) / WIDER)
        if about != part.wide:
            part.wide = about
            self._alerts.set(code, "note", wide(solved, told))

    def _lacks(self, part: _Part, solved: Solved, rows: dict[int, Row]) -> None:
        unknown = tuple(t.result.quantity.label for t in solved.told if t.result.measured is None)
        unread = tuple(place for place in part.live.channels if place not in rows)
        lacked = (*unknown, *map(str, unread))
        if lacked == part.lacked:
            return
        part.lacked = lacked
        code = f"{part.code}-lacks"
        if unknown:
            self._alerts.set(code, "note", lacking(solved, unknown, unread))
        else:
            self._alerts.clear(code)


def _solved(part: _Part, read: Mapping[int, tuple[Reading, Measured]]) -> Solved:
    """Adjust a network with its tapes and these sightlines, by their places.

    Raises ``MeasurementRefused``.
    """
    network, readings = part.live.network, list(part.live.network.readings)
    for place, (reading, _) in read.items():
        readings[place] = reading
    seen = part.tapes | {place: measured for place, (_, measured) in read.items()}
    return solve(replace(network, readings=tuple(readings)), seen)


def id_of(live: LiveNetwork) -> tuple[object, ...]:
    """Return what two networks that are the same have in common."""
    return live.network.stations, live.network.readings, live.network.wanted


def _withdraw(part: _Part, places: set[int], why: str) -> None:
    if places:
        part.solved = frozenset()
        part.desk.withdraw(places, why)


def _drop_tapes(part: _Part, wheel: Wheel) -> set[int]:
    """Drop the tapes between a wheel and a pin; return their places."""
    network = part.live.network
    hub = next(s.id for s in network.wheels() if _wheel(s.axle, s.side) == wheel)
    pins = {station.id for station in network.stations if station.side is None}
    ends = [{line.at, line.to} for line in (r.line for r in network.readings)]
    dropped = {place for place in part.tapes if hub in ends[place] and ends[place] & pins}
    for place in dropped:
        del part.tapes[place]
    return dropped


def _tapes(readings: Sequence[Reading]) -> dict[int, Measured]:
    """Return what does not come from heads, by its place."""
    return {
        i: Measured.of(r.value, r.sigma, source=f"{r.named()} [{i}]", shared=True)
        for i, r in enumerate(readings)
        if r.used and r.value is not None
    }


def _wheel(axle: int | None, side: Side | None) -> Wheel:
    assert axle is not None
    assert side is not None
    return Wheel(axle, side)
