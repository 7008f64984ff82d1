"""How a steering sweep begins: which heads can take part, and what tells each wheel's steering."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import Flag
from ingest.core.channels import ROW, Channel
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.sweep.guidance import SweepGuide
from ingest.geometry.sweep.guided import SweepAsked
from ingest.payload.topics import Topics
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.done import Done
from ingest.service.network import NetworkWork
from ingest.service.sightlines import plan_rad
from ingest.service.steercross import cross_steer
from ingest.service.steersight import PlateSteer, SteerBy, doubt_of, sight_steer
from ingest.service.sweepfit import SweepSettings
from ingest.service.sweeppart import SweepPart
from ingest.service.wheelbench import Bench, plate_rad
from ingest.service.wheelwork import WheelWork

FIT_EVERY_S = 0.8
"""How often a sweep is fitted while it goes on: 10 ms of work each time, for each head."""

OUTER_SHARE = 0.8
"""The outer wheel of a turn is steered by less than the inner one: at 20 deg by 1 to 3 deg."""


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a wheel cannot take part in a sweep now: as the answer to whoever asks for one, and what
    is lacking, in few words, for whoever has not asked yet."""

    refusal: Done
    lacks: str


@dataclass(frozen=True, slots=True)
class _Able:
    """A head that can take part, and what tells the steering of its wheel, the best first."""

    head: BayHead
    bench: Bench
    ways: list[SteerBy]


class SweepStart:
    """Looks at the heads of an axle that stands straight ahead; changes nothing."""

    def __init__(
        self, settings: SweepSettings, work: WheelWork, network: NetworkWork, topics: Topics
    ) -> None:
        self._settings = settings
        self._work = work
        self._network = network
        self._topics = topics

    def parts(
        self, axle: int, heads: Mapping[Wheel, BayHead], *, stops: bool = False
    ) -> dict[Side, SweepPart] | Done:
        """Return the parts of both wheels, or why there can be no sweep.

        ``heads`` by wheel; ``stops``: the wheels will be steered to their stops.
        """
        parts: dict[Side, SweepPart] = {}
        for side in Side:
            found = self._look(Wheel(axle, side), heads)
            if isinstance(found, Objection):
                return found.refusal
            # No view of a sight sensor goes to the stops: there a plate is the better.
            ways = sorted(found.ways, key=lambda by: stops and not by.by_plate)
            parts[side] = self._part(side, found.head, found.bench, ways)
        return parts

    def lacks(self, axle: int, heads: Mapping[Wheel, BayHead]) -> Iterator[str]:
        """Yield what a sweep of an axle would be refused for now, a wheel at a time."""
        for side in Side:
            found = self._look(Wheel(axle, side), heads)
            if isinstance(found, Objection):
                yield found.lacks

    def _look(self, wheel: Wheel, heads: Mapping[Wheel, BayHead]) -> _Able | Objection:
        head, where = heads.get(wheel), f"axle {wheel.axle} {wheel.side.value}"
        if head is None:
            text = f"no head is on {where}; a sweep needs both wheels"
            return Objection(Done(False, "not-mounted", text), f"head on {where}")
        bench = self._work.bench(head)
        objection = _objection(head, bench, where)
        if objection is not None:
            return objection
        ways = self._ways(head, bench, wheel.axle)
        if not ways:
            refusal = Done(False, "refused", _nothing_tells(head))
            return Objection(refusal, f"turn plate or sightline of {where}")
        return _Able(head, bench, ways)

    def _ways(self, head: BayHead, bench: Bench, axle: int) -> list[SteerBy]:
        """Return what tells a wheel's steering, the best first."""
        assert head.wheel is not None
        assert bench.rest is not None
        found: list[SteerBy] = []
        plate = plate_rad(bench)
        if math.isfinite(plate):
            found.append(PlateSteer(plate))
        own = bench.sat(bench.rest, 0)
        kingpin = self._settings.kingpin_m, self._settings.u_kingpin_m
        for network, wanted in self._network.lines(head.wheel):
            other = self._work.views.resting(wanted.to)
            if own is None or other is None:
                continue
            reading, spread = network.readings[wanted.place], self._network.spread
            clamp_m, ends = self._network.clamp_offset_m, (own, other)
            by: SteerBy | None
            if wanted.to.axle != axle:
                by = sight_steer(network, reading, wanted.channel, ends, spread, clamp_m, kingpin)
            elif wanted.channel is Channel.AZIMUTH_CROSS:
                by = cross_steer(network, reading, ends, spread, clamp_m, kingpin)
            else:
                by = None
            if by is not None:
                found.append(by)
        far_rad = self._settings.target_deg * DEG
        return sorted(found, key=lambda by: doubt_of(by, head.instrument, far_rad))

    def _part(self, side: Side, head: BayHead, bench: Bench, ways: Sequence[SteerBy]) -> SweepPart:
        assert bench.rest is not None
        assert bench.settled is not None
        values, locked = bench.rest.values, bool(bench.rest.flags & Flag.SWIVEL_LOCKED)
        toe = self._shaft_toe(head, bench)
        asked = SweepAsked(
            side,
            toe_rad=toe.value,
            by_plate=ways[0].by_plate,
            target_rad=self._settings.target_deg * DEG,
            fit_every_s=FIT_EVERY_S,
            outer_rad=OUTER_SHARE * self._settings.target_deg * DEG,
        )
        degc, camber = float(values[ROW[Channel.TEMPERATURE]]), bench.settled.wheel.camber
        by, second = ways[0], ways[1] if len(ways) > 1 else None
        guide = SweepGuide(asked)
        return SweepPart(head, bench.mounting, guide, by, second, locked, toe, camber, degc)

    def _shaft_toe(self, head: BayHead, bench: Bench) -> Measured:
        """Return the toe of the shaft as it rests: the wheel's, and the clamp's plan angle on it.

        By the network where it tells the wheel's; else the wheels stand about straight ahead.
        """
        wheel = head.wheel
        assert wheel is not None
        assert bench.rest is not None
        sat = bench.sat(bench.rest, 0)
        assert sat is not None
        own = self._network.standing.get(self._topics.axle(wheel.axle, wheel.side.value, "toe"))
        if own is None:
            # Off to the left is out for one wheel and in for the other.
            off_rad = -wheel.side.sign * self._settings.straight_deg * DEG
            source = Source(f"straight ahead, assumed of axle {wheel.axle}", shared=True)
            own = Measured(0.0, (Part(source, (off_rad,)),))
        return own + -wheel.side.sign * plan_rad(sat)


def _objection(head: BayHead, bench: Bench, where: str) -> Objection | None:
    """Say why a head cannot take part in a sweep; None where it can."""
    name = head.name
    if not head.online:
        code, text, lacks = "head-offline", f"{name} is not online", "head on"
    elif head.fixed:
        code, lacks = "not-supported", "head with a shaft on"
        text = f"{name} turns with its wheel; a sweep is read by heads on a shaft"
    elif bench.turn is not None:
        code, lacks = "already-turning", "end of the turn of"
        text = f"a turn of {name} is being collected"
    elif bench.runout is None:
        code, lacks = "refused", "run-out of"
        text = f"the run-out of {name} is not known; turn its wheel"
    elif bench.rest is None or bench.settled is None:
        code, lacks = "head-moving", "rest of"
        text = f"{name} is still moving; hold for 2 s, try again"
    else:
        return None
    return Objection(Done(False, code, text), f"{lacks} {where}")


def _nothing_tells(head: BayHead) -> str:
    return (
        f"{head.name} reads no turn plate, and sees no head that rests on another axle and none "
        "across its own: let its wheel stand on a plate and connect it, or mount a head along the "
        "vehicle"
    )
