"""The sightlines between wheels that rest: which head looks at which, over the time both did."""

from collections.abc import Collection, Mapping

from calibration.measured import Measured
from ingest.core.channels import Channel
from ingest.service.bayhead import Wheel
from ingest.service.network import NetworkWork
from ingest.service.networklines import Wanted
from ingest.service.sightlines import Sat
from ingest.service.wheelbench import Bench, axle_of


class WheelSights:
    """Feeds the networks. ``benches`` are those of all mounted heads, and change."""

    def __init__(
        self, network: NetworkWork, benches: Collection[Bench], least_rest_s: float
    ) -> None:
        self._network = network
        self._benches = benches
        self._least_rest_s = least_rest_s

    def tells_toe(self, bench: Bench) -> bool:
        """Say whether the axle's total toe is a network's affair: there must not be two."""
        wheel = bench.head.wheel
        return wheel is not None and self._network.tells_toe(wheel.axle)

    def partners(self, bench: Bench) -> dict[Channel, Wheel]:
        """Return whom a head looks at by its channels: the nearest head in their direction."""
        wheel = bench.head.wheel
        if wheel is None:
            return {}
        there = {each.head.wheel for each in self._benches}
        found: dict[Channel, Wheel] = {}
        for wanted in self._network.wanted(wheel):
            if wanted.to in there:
                found.setdefault(wanted.channel, wanted.to)
        return found

    def settled(self, bench: Bench, camber_rad: float) -> None:
        """Take a wheel that rests: its sightlines are read, its network is told."""
        wheel = bench.head.wheel
        if wheel is None:
            return
        self._network.settled(wheel, camber_rad)
        count = self._look_along(wheel, bench)
        # Who rests already would look back within a second: until then a network with some of
        # the sightlines tells what one with all of them tells a hundred times better.
        for other in self._benches:
            there = other.head.wheel
            if other is not bench and there is not None:
                count += self._look_along(there, other, anew_to=wheel)
        if count:
            self._network.tell(wheel, bench.fed_ns)

    def follow(self, axle: int) -> Mapping[str, Measured]:
        """Return what the network of an axle tells by the newest samples of all heads."""
        by_wheel = {each.head.wheel: each for each in self._benches}
        seen: list[tuple[Wheel, Wanted, tuple[Sat, Sat]]] = []
        for wheel, bench in by_wheel.items():
            if wheel is None:
                continue
            ways: set[tuple[Channel, bool]] = set()
            for wanted in self._network.wanted(wheel):
                other, way = by_wheel.get(wanted.to), (wanted.channel, wanted.to.axle < wheel.axle)
                if other is None or way in ways:
                    continue
                ways.add(way)
                if axle not in (wheel.axle, wanted.to.axle):
                    continue
                ends = self._newest(bench), self._newest(other)
                if ends[0] is not None and ends[1] is not None:
                    seen.append((wheel, wanted, (ends[0], ends[1])))
        return self._network.peek(axle, seen)

    def _newest(self, bench: Bench) -> Sat | None:
        wheel = bench.head.wheel
        if bench.newest is None or wheel is None or bench.steered:
            return None
        return bench.sat(bench.newest, self._network.standing_of(wheel))

    def _look_along(self, wheel: Wheel, bench: Bench, anew_to: Wheel | None = None) -> int:
        """Read the sightlines to partners that rest as well; return how many there were.

        A channel sees one partner, the nearest in its direction. ``anew_to``: only that to this
        wheel, and only where it is not read by now.
        """
        count = 0
        by_wheel = {each.head.wheel: each for each in self._benches}
        ways: set[tuple[Channel, bool]] = set()
        for wanted in self._network.wanted(wheel):
            other, way = by_wheel.get(wanted.to), (wanted.channel, wanted.to.axle < wheel.axle)
            if other is None or way in ways:
                continue
            ways.add(way)
            if anew_to is not None and (wanted.to != anew_to or self._network.reads(wheel, wanted)):
                continue
            ends = self._ends(bench, other)
            if ends is not None:
                count += self._network.read(wheel, wanted, ends)
        return count

    def _ends(self, bench: Bench, other: Bench) -> tuple[Sat, Sat] | None:
        if other.settled is None or other.rest is None or bench.rest is None:
            return None
        if any(self._hangs(each) or each.steered for each in (bench, other)):
            return None
        since_ns = max(bench.rest.t_ns, other.rest.t_ns)
        one, two = (self._sat(each, since_ns) for each in (bench, other))
        return None if one is None or two is None else (one, two)

    def _hangs(self, bench: Bench) -> bool:
        """Say whether the axle is taken to be off its plates, so that it is yet to come down."""
        turning = any(each.turn is not None for each in axle_of(bench, self._benches))
        return turning or bench.fed_ns < bench.lowered_ns

    def _sat(self, bench: Bench, since_ns: int) -> Sat | None:
        rest, wheel = bench.rest_since(since_ns, self._least_rest_s), bench.head.wheel
        if rest is None or wheel is None:
            return None
        return bench.sat(rest, self._network.standing_of(wheel))
