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
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
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

    @property
    def heads(self) -> tuple[BayHead, BayHead]:
        """Who read it, and whom it looks at."""
        return self.ends[0].head, self.ends[1].head

    def of_mounting(self, mounting: int) -> bool:
        """Say whether a mounting of a head is at either end."""
        return any(sat.mounting == mounting for sat in self.ends)


class Rows:
    """The newest reading of each sightline, by its place in the network."""

    def __init__(self) -> None:
        self._rows: dict[int, Row] = {}
        self._standing: Counter[Wheel] = Counter()
        self._camber: dict[Wheel, float] = {}

    def __iter__(self) -> Iterator[Row]:
        return iter(self._rows[place] for place in sorted(self._rows))

    @property
    def held(self) -> list[Row]:
        """Those that the network may stand on, in its order."""
        return [row for row in self if row.hold is not Hold.RESTING]

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

    def moved(self, axle: int) -> set[int]:
        """Drop all that was read at an axle: its wheels are being turned."""
        wheels = {wheel for row in self for wheel in row.wheels if wheel.axle == axle}
        return set().union(*(self._stood(wheel) for wheel in wheels))

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
        return self._drop(row for row in self if wheel in row.wheels)

    def _drop(self, rows: Iterable[Row]) -> set[int]:
        places = {row.place for row in rows}
        for place in places:
            del self._rows[place]
        return places
