"""What heads have read of a network so far, and which of it holds.

A reading holds as long as both its wheels stand as they stood. While both heads sit as they sat it
is live; when one was taken off it is closed: nobody watches that wheel, yet it belongs to the
network, and the heads that stayed tie it to what is read next. What voids what::

    what happens                        live readings of that head   closed readings
    its wheel moves, the link is lost   rest until it is read anew   stay
    it is taken off                     become closed                stay
    a turn begins on its axle, a push   void (both wheels)           void (both wheels)
    another head, a new start           void                         stay
    read anew, the camber has changed   (replaced)                   void

What a turn, a push, a sweep or an adjuster makes void was true until then: as long as it ties
others that stand it is kept, of wheels as they stood before (``former``, ``networkformer``).
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from calibration.measured import Measured
from ingest.core.units import DEG
from ingest.geometry.network.stations import Reading
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.sightlines import Sat

STOOD_RAD = 0.1 * DEG
"""A wheel whose camber has changed by more was moved: five times what settling scatters."""


class Hold(Enum):
    """How a reading stands."""

    LIVE = "live"
    RESTING = "resting"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Stand:
    """A wheel as it stood after it was moved ``number`` times; ``former``: it was moved since."""

    wheel: Wheel
    number: int
    former: bool = False

    def is_beside(self, other: "Stand") -> bool:
        """Say whether another is the wheel across, and both were moved together."""
        same = (self.wheel.axle, self.number) == (other.wheel.axle, other.number)
        return same and other.wheel.side is self.wheel.side.other


@dataclass(slots=True)
class Row:
    """One sightline as it was read last, and by which mountings of which heads."""

    place: int
    reading: Reading
    measured: Measured
    t_ns: int
    ends: tuple[Sat, Sat]
    wheels: tuple[Wheel, Wheel]
    hold: Hold = Hold.LIVE
    stood: bool = True
    """Whether its wheels were seen to rest until its heads were taken off."""
    former: tuple[Stand, Stand] | None = None
    """Of a row of a wheel that was moved since: how both its wheels stood."""

    @property
    def heads(self) -> tuple[BayHead, BayHead]:
        """Who read it, and whom it looks at."""
        return self.ends[0].head, self.ends[1].head

    @property
    def stands(self) -> tuple[Stand, Stand]:
        """Its wheels as they stood while it was read, of a row that is kept beyond a move."""
        return self.former or (self._stand(0), self._stand(1))

    def _stand(self, end: int) -> Stand:
        return Stand(self.wheels[end], self.ends[end].standing)

    def of_mounting(self, mounting: int) -> bool:
        """Say whether a mounting of a head is at either end."""
        return any(sat.mounting == mounting for sat in self.ends)


class Rows:
    """The newest reading of each sightline, by its place in the network."""

    def __init__(self) -> None:
        self._rows: dict[int, Row] = {}
        self._former: list[Row] = []
        self._standing: Counter[Wheel] = Counter()
        self._camber: dict[Wheel, float] = {}

    def __iter__(self) -> Iterator[Row]:
        return iter(self._rows[place] for place in sorted(self._rows))

    @property
    def held(self) -> list[Row]:
        """Those that the network may stand on, in its order."""
        return [row for row in self if row.hold is not Hold.RESTING]

    @property
    def former(self) -> Sequence[Row]:
        """Those of wheels as they stood before, where they tie others that stand."""
        return self._former

    def is_live(self, place: int) -> bool:
        """Say whether a sightline's newest reading is live."""
        row = self._rows.get(place)
        return row is not None and row.hold is Hold.LIVE

    def standing(self, wheel: Wheel) -> int:
        """Return how often a wheel was moved."""
        return self._standing[wheel]

    def take(self, row: Row) -> None:
        """Take a reading in the place of the one before."""
        self._rows[row.place] = row

    def rest(self, mounting: int) -> set[int]:
        """Let a head's live readings rest; return their places."""
        found = [r for r in self if r.of_mounting(mounting) and r.hold is Hold.LIVE]
        for row in found:
            row.hold = Hold.RESTING
        return {row.place for row in found}

    def close(self, mounting: int, *, stood: bool) -> set[int]:
        """Close a head's readings: it was taken off, which is what it moved for last."""
        found = [r for r in self if r.of_mounting(mounting) and r.hold is not Hold.CLOSED]
        for row in found:
            row.hold, row.stood = Hold.CLOSED, stood
        return {row.place for row in found}

    def void(self, mounting: int) -> set[int]:
        """Drop what a head has read that is not closed; return the places."""
        return self._drop(r for r in self if r.of_mounting(mounting) and r.hold is not Hold.CLOSED)

    def moved(self, axle: int, pinned: Collection[Stand] = ()) -> set[int]:
        """Drop all that was read at an axle: its wheels are being turned.

        What held until now is kept of where they stood, as far as it ties others, or a pin:
        ``pinned`` are the stands that are taped to one.
        """
        former = [*self._former, *(replace(row, hold=Hold.CLOSED) for row in self.held)]
        wheels = {w for row in (*self, *former) for w in row.wheels if w.axle == axle}
        dropped: set[int] = set().union(*(self._stood(wheel) for wheel in wheels))
        rows = (replace(row, former=self._stands(row)) for row in former)
        gone = [row for row in rows if any(stand.former for stand in row.stands)]
        self._former = tying(gone, (row.wheels for row in self.held), pinned)
        return dropped

    def _stands(self, row: Row) -> tuple[Stand, Stand]:
        here, there = (
            replace(stand, former=stand.number != self._standing[stand.wheel])
            for stand in row.stands
        )
        return here, there

    def settled(self, wheel: Wheel, camber_rad: float) -> set[int]:
        """Take note of a wheel's camber at rest; drop its closed readings where it has changed."""
        before = self._camber.setdefault(wheel, camber_rad)
        if abs(camber_rad - before) <= STOOD_RAD:
            return set()
        dropped = self._stood(wheel)
        self._camber[wheel] = camber_rad
        return dropped

    def _stood(self, wheel: Wheel) -> set[int]:
        self._standing[wheel] += 1
        self._camber.pop(wheel, None)
        now = [Stand(wheel, self._standing[wheel] - 1)]
        self._former = [row for row in self._former if not set(now) & set(row.stands)]
        return self._drop(row for row in self if wheel in row.wheels)

    def _drop(self, rows: Iterable[Row]) -> set[int]:
        places = {row.place for row in rows}
        for place in places:
            del self._rows[place]
        return places


def tying(
    rows: Sequence[Row], there: Iterable[tuple[Wheel, Wheel]], pinned: Collection[Stand] = ()
) -> list[Row]:
    """Return the rows of former stands that tie axles, or a pin, which nothing else ties.

    ``there``: pairs of wheels between which a sightline holds. ``pinned``: stands that are taped to
    a pin. The newest of former stands are looked at first.
    """
    joined = _Joined()
    for stand in pinned:
        if not stand.former:
            joined.join(stand.wheel.axle, "pin")
    for here, other in there:
        joined.join(here.axle, other.axle)
    groups = _Joined()
    for row in rows:
        groups.join(*(s for s in row.stands if s.former))
    by_group: dict[object, list[Row]] = {}
    for row in rows:
        first = next(stand for stand in row.stands if stand.former)
        by_group.setdefault(groups.root(first), []).append(row)
    kept: list[Row] = []
    for group in reversed(by_group.values()):
        stands = {stand for row in group for stand in row.stands}
        ends = ["pin"] if stands & set(pinned) else []
        if joined.join(*ends, *(stand.wheel.axle for stand in stands if not stand.former)):
            kept = [*group, *kept]
    return kept


class _Joined:
    """Sets that are joined until some are one."""

    def __init__(self) -> None:
        self._above: dict[object, object] = {}

    def root(self, one: object) -> object:
        """Return what stands for all that is joined with this."""
        while (above := self._above.get(one, one)) != one:
            one = above
        return one

    def join(self, *all_of: object) -> bool:
        """Join; say whether they were not one before."""
        roots = {self.root(each) for each in all_of}
        if len(roots) < 2:
            return False
        first, *others = roots
        self._above |= dict.fromkeys(others, first)
        return True
