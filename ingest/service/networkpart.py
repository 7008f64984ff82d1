"""One sightline network of the present set-up: what was read of it, adjusted, told."""

import contextlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.units import NS
from ingest.geometry.network.correlated import Solved, solve
from ingest.geometry.network.proving import foretold
from ingest.geometry.network.stations import Network, Reading
from ingest.payload.network_live import LiveNetwork
from ingest.service.bayhead import Wheel
from ingest.service.bayspread import SpreadSettings
from ingest.service.networkalerts import NetworkAlerts
from ingest.service.networkdesk import UNSOLVED, NetworkDesk
from ingest.service.networkformer import with_former
from ingest.service.networklines import (
    Wanted,
    tapes_of,
    tapes_that_hold,
    tapes_to_pins,
    wanted_of,
)
from ingest.service.networkrow import Row, Stand
from ingest.service.networkrows import Rows
from ingest.service.sightlines import Sat, look

AGAIN_S = 0.9
"""A network whose readings improve is adjusted again about every second, however many heads."""

Seen = tuple[Reading, Measured]
"""A sightline as it was read: for the adjustment, and with all its parts."""


class NetworkPart:
    """One network. ``clamp_offset_m``: how far off centre clamps sit (root mean square)."""

    def __init__(
        self,
        live: LiveNetwork,
        desk: NetworkDesk,
        alerts: NetworkAlerts,
        spread: SpreadSettings,
        clamp_offset_m: float,
    ) -> None:
        self.live = live
        self.desk = desk
        self.rows = Rows()
        self.wanted = wanted_of(live)
        self.tapes = tapes_of(live.network.readings)
        self._pins: dict[tuple[int, Stand], Measured] = {}
        """Tapes to pins that hold no longer of where the hub is, but of where it stood."""
        self._alerts = alerts
        self._spread = spread
        self._clamp_offset_m = clamp_offset_m
        self._solved_ns = 0
        self._solved: frozenset[int] = frozenset()
        """When it was adjusted last, by the samples' time, and from which readings."""

    @property
    def network(self) -> Network:
        """The network as its file states it."""
        return self.live.network

    @property
    def identity(self) -> tuple[object, ...]:
        """What two networks that are the same have in common."""
        return self.network.stations, self.network.readings, self.network.wanted

    def forget_results(self) -> None:
        """Clear all results and drop all readings."""
        self.desk.forget_results()
        self.rows = Rows()
        self._pins = {}
        self._solved = frozenset()

    def gone(self) -> None:
        """Clear all that was said: the set-up has this network no more."""
        self.desk.forget_results()
        self._alerts.clear()

    def take(self, wheel: Wheel, wanted: Wanted, ends: tuple[Sat, Sat]) -> bool:
        """Take a sightline; say whether it is the one that the head looks along."""
        seen = self._look(wanted, ends)
        if seen is None:
            return False
        t_ns = max(sat.rest.t_ns for sat in ends)
        self.rows.take(Row(wanted.place, *seen, t_ns, ends, (wheel, wanted.to)))
        return True

    def withdraw(self, places: set[int], why: str) -> None:
        """Take back what stands on readings that do not hold now."""
        if places:
            self._solved = frozenset()
            self.desk.withdraw(places, why)

    def moved(self, axle: int, why: str) -> None:
        """Take note that the wheels of an axle are about to be moved."""
        taped = {w for w in self.wanted if tapes_to_pins(self.network, w) & self.tapes.keys()}
        pinned = {Stand(w, self.rows.standing(w)) for w in taped} | {s for _, s in self._pins}
        self.withdraw(self.rows.moved(axle, pinned), why)

    def untape(self, wheel: Wheel, why: str) -> None:
        """Drop the tapes between a wheel and a pin: its hub is about to be shifted, and the axle to
        be moved. They go on to tell where the pin is from where the hub stood."""
        dropped = tapes_to_pins(self.network, wheel) & self.tapes.keys()
        before = Stand(wheel, self.rows.standing(wheel), former=True)
        for place in dropped:
            self._pins[place, before] = self.tapes.pop(place)
        self.withdraw(dropped, why)

    def tell(self, now_ns: int) -> None:
        """Adjust with what holds now; publish.

        At once where a sightline is new; every now and then while those there are improve.
        """
        held = frozenset(row.place for row in self.rows.held)
        if held != self._solved or now_ns - self._solved_ns >= AGAIN_S * NS:
            self._solved, self._solved_ns = held, now_ns
            self.solve()

    def solve(self) -> None:
        """Adjust with what holds now and publish, however short the last time is ago."""
        rows = {row.place: row for row in self.rows.held}
        if not rows:
            return
        unread = [place for place in self.live.channels if place not in rows]
        try:
            solved = self._adjusted(_seen(rows.values()))
        except MeasurementRefused as error:
            # Few sightlines may leave positions that no step settles; all of them may not.
            self._alerts.unsolved(error, partial=bool(unread))
            self.desk.withdraw(set(rows), UNSOLVED)
            return
        first = len(self.network.readings)
        self.desk.say(solved, {**rows, **dict(enumerate(self.rows.former, first))})
        self._alerts.say(solved, unread, None if unread else self.desk.widest())

    def peek(
        self, axle: int, seen: Sequence[tuple[Wheel, Wanted, tuple[Sat, Sat]]]
    ) -> Mapping[str, Measured]:
        """Return what it would tell with sightlines at an axle read so; nothing is kept.

        By topic below the bay. Sightlines elsewhere are those that hold. Empty where it cannot be
        solved.
        """
        read = _seen(row for row in self.rows.held if all(w.axle != axle for w in row.wheels))
        for _, wanted, ends in seen:
            looked = self._look(wanted, ends)
            if looked is not None:
                read[wanted.place] = looked
        try:
            return self.desk.named(self._adjusted(read))
        except MeasurementRefused:
            return {}

    def foretold(self, at: str, to: str) -> Measured | None:
        """Return the distance between two of its hubs, m, as the readings that hold tell it."""
        with contextlib.suppress(MeasurementRefused):
            return foretold(self._adjusted(_seen(self.rows.held)).adjusted, at, to)
        return None

    def _look(self, wanted: Wanted, ends: tuple[Sat, Sat]) -> Seen | None:
        reading = self.network.readings[wanted.place]
        with contextlib.suppress(MeasurementRefused):
            return look(
                self.network, reading, wanted.channel, ends, self._spread, self._clamp_offset_m
            )
        return None

    def _adjusted(self, read: Mapping[int, Seen]) -> Solved:
        """Adjust with the tapes, these sightlines, by their places, and former ones that tie.

        Raises ``MeasurementRefused``.
        """
        readings = list(self.network.readings)
        for place, (reading, _) in read.items():
            readings[place] = reading
        network = replace(self.network, readings=tuple(readings))
        network, before = with_former(network, self.rows.former, self.tapes, self._pins)
        tapes = tapes_that_hold(self.tapes, network, {*read, *before})
        return solve(network, tapes | before | {p: measured for p, (_, measured) in read.items()})


def _seen(rows: Iterable[Row]) -> dict[int, Seen]:
    return {row.place: (row.reading, row.measured) for row in rows}
