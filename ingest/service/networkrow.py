"""One sightline of a network as it was read, and how the wheels at its ends stood."""

from dataclasses import dataclass
from enum import Enum

from calibration.measured import Measured
from ingest.geometry.network.stations import Reading
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.sightlines import Sat


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
