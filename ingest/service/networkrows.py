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
from dataclasses import replace

from ingest.service.bayhead import Wheel
from ingest.service.networkrow import Hold, Row, Stand
from ingest.service.networktying import tying
from ingest.service.wheelbench import STOOD_RAD


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
