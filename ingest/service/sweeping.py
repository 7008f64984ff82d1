"""A steering sweep of an axle: collected from its two heads, guided while it goes on, fitted.

Both heads sit on the wheels of the axle, run-out compensated; locked to their shafts they give SAI,
hanging they give caster alone. The wheels begin straight ahead. How far each is steered is told by
its turn plate, by a sightline to a head on another axle, or by the two heads that see each other
across the axle, whichever is known best.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ingest.core.blocks import SampleBlock
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG, NS
from ingest.service.abreast import Abreast
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.done import Done
from ingest.service.network import NetworkWork
from ingest.service.sweepcompare import compared
from ingest.service.sweepfit import SweepSettings, fit_swept
from ingest.service.sweeppart import SweepPart
from ingest.service.sweepstart import SweepStart
from ingest.service.sweepwords import unseen
from ingest.service.wheelwork import WheelWork

TOLD_EVERY_S = 0.2
"""How often guidance is said while nothing changes but the steering."""

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
class _Sweep:
    """A sweep that goes on."""

    id: str
    axle: int
    parts: dict[Side, SweepPart]
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
        self._start = SweepStart(settings, work, network, announcer.topics)
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
        parts = self._start.parts(axle, _by_wheel(heads), stops=stops)
        if isinstance(parts, Done):
            return parts
        self._alerts.clear(doubt_code(axle))
        for part in parts.values():
            self._work.steered(part.head)
        abreast = Abreast(frozenset(side for side, part in parts.items() if part.by_both))
        self._sweeps[axle] = _Sweep(f"st-{next(self._ids)}", axle, parts, stops, abreast)
        hanging = [part.head.name for part in parts.values() if not part.locked]
        alone = f" {' and '.join(hanging)} not locked: caster alone." if hanging else ""
        return Done(True, "ok", f"{CAUTION}.{alone}")

    def lacks(self, axle: int, heads: Iterable[BayHead]) -> tuple[str, ...]:
        """Return what a sweep of an axle would be refused for if it were begun now, in few words;
        nothing while one goes on."""
        return () if axle in self._sweeps else tuple(self._start.lacks(axle, _by_wheel(heads)))

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
                    part.take(sample)
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
                    self._work.progress.refuse(part.head, sweep.id, kept, refused)
            return Done(False, "refused", refused.text)
        heads = {side: part.head for side, part in sweep.parts.items()}
        swept = replace(swept, stops=sweep.stops)
        straight = {part.head.id: part.straight for part in sweep.parts.values()}
        t_ns = max(part.steer[-1][0] for part in sweep.parts.values())
        self._work.sweeps.say(axle, heads, straight, swept, t_ns)
        for side, head in heads.items():
            self._work.progress.done(head, sweep.id, swept.sides[side].steering.n)
        seconds = {side: part.swept_beside(side) for side, part in sweep.parts.items()}
        off = compared(swept, wheels, {s: each for s, each in seconds.items() if each is not None})
        if off:
            self._alerts.set(doubt_code(axle), "note", f"axle {axle}: {DOUBTFUL}{off}")
        told = (f"{s.value} {each.caster.value / DEG:.2f} deg" for s, each in swept.sides.items())
        more = f"; {DOUBTFUL}{off}" if off else ""
        if swept.stops:
            more += "".join(f"; {unseen(s)}" for s in Side if s not in swept.sides[s].turned)
        return Done(True, "ok", f"caster to gravity: {', '.join(told)}{more}")

    def broke(self, head: BayHead, why: str) -> None:
        """Take note that what a head reads has broken off: no sweep may span that."""
        for sweep in self._sweeps.values():
            if sweep.side(head.id) is not None:
                sweep.broken = sweep.broken or why

    def _refuse_broken(self, sweep: _Sweep) -> None:
        for part in sweep.parts.values():
            if any(self._work.bench(head).mounting != mounting for head, mounting in part.sat):
                sweep.broken = sweep.broken or "unmounted"
        if sweep.broken:
            text = f"the readings broke off during the sweep ({sweep.broken}); begin it again"
            raise MeasurementRefused(sweep.broken, text, figure=1.0, limit=0.0)

    def _guide(self, sweep: _Sweep, part: SweepPart) -> None:
        state = part.state
        if state is None:
            return
        now_ns = self._work.bench(part.head).fed_ns
        said = (state.needed[:1], state.troubles[:1])
        if said == part.said and now_ns - part.said_ns < TOLD_EVERY_S * NS:
            return
        part.said, part.said_ns = said, now_ns
        target_rad = self._settings.target_deg * DEG
        rolls = self._settings.axle_roll
        self._work.progress.guide(
            part.head, sweep.id, state, target_rad, part.by.channel, rolls=rolls
        )


def _by_wheel(heads: Iterable[BayHead]) -> dict[Wheel, BayHead]:
    return {head.wheel: head for head in heads if head.wheel is not None}
