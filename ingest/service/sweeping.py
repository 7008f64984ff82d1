"""A steering sweep of an axle: collected from its two heads, guided while it goes on, fitted.

Both heads sit on the wheels of the axle, run-out compensated; locked to their shafts they give SAI,
hanging they give caster alone. The wheels begin straight ahead. How far each is steered is told by
its turn plate, by a sightline to a head on another axle, or by the two heads that see each other
across the axle, whichever is known best.
"""

import itertools
import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import Flag, SampleBlock
from ingest.core.channels import ROW, Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG, NS
from ingest.geometry.sweep.guidance import SweepGuide
from ingest.geometry.sweep.guided import SweepAsked, SweepReading, SweepState
from ingest.service.abreast import Abreast, Sample
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.done import Done
from ingest.service.network import NetworkWork
from ingest.service.sightlines import plan_rad
from ingest.service.steercross import CrossSteer, cross_steer
from ingest.service.steersight import PlateSteer, SightSteer, SteerBy, doubt_of, sight_steer
from ingest.service.sweepfit import SweepSettings, SweptWheel, compared, fit_swept
from ingest.service.wheelbench import Bench, plate_rad
from ingest.service.wheelwork import WheelWork

TOLD_EVERY_S = 0.2
"""How often guidance is said while nothing changes but the steering."""

FIT_EVERY_S = 0.8
"""How often a sweep is fitted while it goes on: 10 ms of work each time, for each head."""

MOST_KEPT = 12_000
"""Readings of a steering that are kept: twenty minutes of ten a second; the oldest go first."""

OUTER_SHARE = 0.8
"""The outer wheel of a turn is steered by less than the inner one: at 20 deg by 1 to 3 deg."""

CAUTION = (
    "Brake held, heads locked, nobody's hands near the wheels; steer slowly to one side and back, "
    "to the other and back"
)
"""What is said each time; the vehicle maker and local codes say the rest."""

DOUBTFUL = "the steering is doubtful: "


def doubt_code(axle: int) -> str:
    """Return the code under which a doubtful steering of an axle is alerted."""
    return f"steering-axle-{axle}"


@dataclass(slots=True)
class _Part:
    """One wheel's part in a sweep."""

    head: BayHead
    mounting: int
    guide: SweepGuide
    by: SteerBy
    second: SteerBy | None
    locked: bool
    toe: Measured
    camber: Measured
    degc: float
    steer: deque[tuple[int, float]] = field(default_factory=lambda: deque(maxlen=MOST_KEPT))
    beside: deque[tuple[int, float]] = field(default_factory=lambda: deque(maxlen=MOST_KEPT))
    state: SweepState | None = None
    said: tuple[object, ...] = ()
    said_ns: int = 0

    def swept(self, side: Side) -> SweptWheel:
        """Return what was collected."""
        return self._swept(side, self.by, self.steer)

    def swept_beside(self, side: Side) -> SweptWheel | None:
        """Return the same with what else told the steering, None where nothing did."""
        return None if self.second is None else self._swept(side, self.second, self.beside)

    def _swept(self, side: Side, by: SteerBy, read: Sequence[tuple[int, float]]) -> SweptWheel:
        t_ns = np.array([at for at, _ in read], dtype=np.int64)
        steer = np.array([angle for _, angle in read])
        rows, known = self.guide.rows, self.head.instrument
        return SweptWheel(side, known, rows, t_ns, steer, self.toe, self.camber, self.degc, by)

    @property
    def by_both(self) -> bool:
        """Whether something needs what the other head reads at the same moment."""
        return any(isinstance(each, CrossSteer) for each in (self.by, self.second))

    @property
    def straight(self) -> tuple[Channel, float]:
        """What tells the steering, and what it reads straight ahead."""
        return self.by.channel, self.by.straight_rad


@dataclass(slots=True)
class _Sweep:
    """A sweep that goes on."""

    id: str
    axle: int
    parts: dict[Side, _Part]
    stops: bool
    abreast: Abreast
    broken: str = ""

    def side(self, head: HeadId) -> Side | None:
        return next((side for side, part in self.parts.items() if part.head.id == head), None)


class Sweeping:
    """Collects a sweep of an axle at a time, and of different axles at once."""

    def __init__(
        self,
        settings: SweepSettings,
        work: WheelWork,
        network: NetworkWork,
        announcer: Announcer,
        alerts: Alerts,
    ) -> None:
        self._settings = settings
        self._work = work
        self._network = network
        self._topics = announcer.topics
        self._alerts = alerts
        self._sweeps: dict[int, _Sweep] = {}
        self._ids = itertools.count(1)

    def begin(self, axle: int, heads: Sequence[BayHead], *, stops: bool = False) -> Done:
        """Begin to collect, from the heads on both wheels of an axle that stands straight ahead.

        ``stops``: the wheels will be steered to their stops, so that how far they come is how far
        they can be steered.
        """
        if axle in self._sweeps:
            text = f"a sweep of axle {axle} is being collected; end it first"
            return Done(False, "already-sweeping", text)
        on = {head.wheel: head for head in heads if head.wheel is not None}
        parts: dict[Side, _Part] = {}
        for side in Side:
            head = on.get(Wheel(axle, side))
            if head is None:
                text = f"no head is on axle {axle} {side.value}; a sweep needs both wheels"
                return Done(False, "not-mounted", text)
            bench = self._work.bench(head)
            objection = _objection(head, bench)
            if objection is not None:
                return objection
            ways = self._ways(head, bench, axle)
            if not ways:
                return Done(False, "refused", _nothing_tells(head))
            parts[side] = self._part(side, head, bench, ways)
        self._alerts.clear(doubt_code(axle))
        for part in parts.values():
            self._work.steered(part.head)
        abreast = Abreast(frozenset(side for side, part in parts.items() if part.by_both))
        self._sweeps[axle] = _Sweep(f"st-{next(self._ids)}", axle, parts, stops, abreast)
        hanging = [part.head.name for part in parts.values() if not part.locked]
        alone = f" {' and '.join(hanging)} not locked: caster alone." if hanging else ""
        return Done(True, "ok", f"{CAUTION}.{alone}")

    def feed(self, head: BayHead, blocks: Sequence[SampleBlock]) -> None:
        """Take what a head's chain gave."""
        for sweep in self._sweeps.values():
            own = sweep.side(head.id)
            if own is None or sweep.broken:
                continue
            for block in blocks:
                sweep.abreast.take(own, block)
            for side, part in sweep.parts.items():
                for sample in sweep.abreast.ready(side):
                    _take(part, sample)
                self._guide(sweep, part)

    def end(self, axle: int) -> Done:
        """End a sweep: fit it, publish what it gives."""
        sweep = self._sweeps.pop(axle, None)
        if sweep is None:
            return Done(False, "not-sweeping", f"no sweep of axle {axle} is being collected")
        for part in sweep.parts.values():
            self._work.steered_back(part.head)
        try:
            self._refuse_broken(sweep)
            wheels = {side: part.swept(side) for side, part in sweep.parts.items()}
            swept = fit_swept(wheels, self._settings)
        except MeasurementRefused as refused:
            for part in sweep.parts.values():
                if part.head.wheel is not None:
                    kept = len(part.guide.rows)
                    self._work.sweeps.refuse(part.head, sweep.id, kept, refused)
            return Done(False, "refused", refused.text)
        heads = {side: part.head for side, part in sweep.parts.items()}
        swept = replace(swept, stops=sweep.stops)
        straight = {part.head.id: part.straight for part in sweep.parts.values()}
        t_ns = max(part.steer[-1][0] for part in sweep.parts.values())
        self._work.sweeps.say(axle, heads, straight, sweep.id, swept, t_ns)
        seconds = {side: part.swept_beside(side) for side, part in sweep.parts.items()}
        off = compared(swept, wheels, {s: each for s, each in seconds.items() if each is not None})
        if off:
            self._alerts.set(doubt_code(axle), "note", f"axle {axle}: {DOUBTFUL}{off}")
        told = (f"{s.value} {each.caster.value / DEG:.2f} deg" for s, each in swept.sides.items())
        more = f"; {DOUBTFUL}{off}" if off else ""
        return Done(True, "ok", f"caster to gravity: {', '.join(told)}{more}")

    def broke(self, head: BayHead, why: str) -> None:
        """Take note that what a head reads has broken off: no sweep may span that."""
        for sweep in self._sweeps.values():
            if sweep.side(head.id) is not None:
                sweep.broken = sweep.broken or why

    def _refuse_broken(self, sweep: _Sweep) -> None:
        for part in sweep.parts.values():
            sat = [(part.head, part.mounting)]
            if isinstance(part.by, SightSteer):
                sat.append((part.by.target.head, part.by.target.mounting))
            if any(self._work.bench(head).mounting != mounting for head, mounting in sat):
                sweep.broken = sweep.broken or "unmounted"
        if sweep.broken:
            text = f"the readings broke off during the sweep ({sweep.broken}); begin it again"
            raise MeasurementRefused(sweep.broken, text, figure=1.0, limit=0.0)

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

    def _part(self, side: Side, head: BayHead, bench: Bench, ways: Sequence[SteerBy]) -> _Part:
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
        return _Part(head, bench.mounting, guide, by, second, locked, toe, camber, degc)

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

    def _guide(self, sweep: _Sweep, part: _Part) -> None:
        state = part.state
        if state is None:
            return
        now_ns = self._work.bench(part.head).fed_ns
        said = (state.needed[:1], state.troubles[:1])
        if said == part.said and now_ns - part.said_ns < TOLD_EVERY_S * NS:
            return
        part.said, part.said_ns = said, now_ns
        target_rad = self._settings.target_deg * DEG
        self._work.sweeps.guide(part.head, sweep.id, state, target_rad, part.by.channel)


def _objection(head: BayHead, bench: Bench) -> Done | None:
    """Say why a head cannot take part in a sweep; None where it can."""
    if not head.online:
        return Done(False, "head-offline", f"{head.name} is not online")
    if head.fixed:
        text = f"{head.name} turns with its wheel; a sweep is read by heads on a shaft"
        return Done(False, "not-supported", text)
    if bench.turn is not None:
        return Done(False, "already-turning", f"a turn of {head.name} is being collected")
    if bench.runout is None:
        return Done(False, "refused", f"the run-out of {head.name} is not known; turn its wheel")
    if bench.rest is None or bench.settled is None:
        text = f"{head.name} is still moving; hold for 2 s, try again"
        return Done(False, "head-moving", text)
    return None


def _nothing_tells(head: BayHead) -> str:
    return (
        f"{head.name} reads no turn plate, and sees no head that rests on another axle and none "
        "across its own: let its wheel stand on a plate and connect it, or mount a head along the "
        "vehicle"
    )


def _take(part: _Part, sample: Sample) -> None:
    """Give a sample to the guide, the steering told from straight ahead."""
    t_ns, values = sample.t_ns, sample.values
    turned = part.by.read(values, sample.across)
    seen = math.isfinite(turned) and not sample.doubtful
    if seen:
        part.steer.append((t_ns, turned))
    beside = math.nan if part.second is None else part.second.read(values, sample.across)
    if seen and math.isfinite(beside):
        part.beside.append((t_ns, beside))
    lean, tilt = (float(values[ROW[c]]) for c in (Channel.INCL_Y, Channel.INCL_X))
    told = tilt if part.locked else None
    part.state = part.guide.feed(SweepReading(t_ns, turned if seen else None, lean, told))
