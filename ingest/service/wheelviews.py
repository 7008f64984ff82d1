"""What the heads on wheels show at this moment, for whoever looks on: nothing is changed by it."""

from collections.abc import Iterator, Mapping
from datetime import date

from ingest.core.channels import Channel
from ingest.core.ids import HeadId
from ingest.service.adjusting import Followed
from ingest.service.bayhead import Wheel
from ingest.service.headseen import HeadSeen
from ingest.service.sightlines import Sat
from ingest.service.wheelbench import Bench, head_seen
from ingest.service.wheelsights import WheelSights


class WheelViews:
    """Looks at the benches of all heads, which change. ``sights``: None where no network is."""

    def __init__(self, benches: Mapping[HeadId, Bench], sights: WheelSights | None) -> None:
        self._benches = benches
        self._sights = sights

    def at(self, axle: int) -> Iterator[Bench]:
        """Yield what goes on at the wheels of an axle."""
        for bench in self._benches.values():
            if bench.head.wheel is not None and bench.head.wheel.axle == axle:
                yield bench

    def follow(self, axle: int) -> Followed:
        """Return what the network of an axle tells by the newest samples, at rest or not."""
        moving = list(self.at(axle))
        told = {} if self._sights is None else self._sights.follow(axle)
        chains = [b.chain.lag_ns for b in moving if b.chain is not None]
        return Followed(
            told,
            any(bench.rest is None for bench in moving),
            max(chains, default=0) * 1e-6,
            self.newest_ns(axle),
        )

    @property
    def due(self) -> frozenset[Wheel]:
        """Wheels that a reading at rest is yet to come of."""
        due = (b.head.wheel for b in self._benches.values() if b.is_due)
        return frozenset(wheel for wheel in due if wheel is not None)

    def newest_ns(self, axle: int) -> int:
        """Return the time of the newest value of an axle's heads; 0 where there is none."""
        newest = (bench.newest for bench in self.at(axle))
        return max((each.t_ns for each in newest if each is not None), default=0)

    def seen(self, today: date) -> list[HeadSeen]:
        """Return what is seen now of every head that is on a wheel."""
        benches = self._benches.values()
        return [
            head_seen(bench, benches, self._partners(bench), today)
            for bench in benches
            if bench.head.wheel is not None
        ]

    def resting(self, wheel: Wheel) -> Sat | None:
        """Return the head that rests on a wheel, run-out known, not being steered; else None."""
        found = next((b for b in self._benches.values() if b.head.wheel == wheel), None)
        if found is None or found.rest is None or found.steered or found.turn is not None:
            return None
        return found.sat(found.rest, 0)

    def _partners(self, bench: Bench) -> dict[Channel, Wheel]:
        return {} if self._sights is None else self._sights.partners(bench)
