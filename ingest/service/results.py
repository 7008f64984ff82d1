"""Results of settled wheels: camber per wheel, total toe per axle, each with what it stands on."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.measured import Measured
from calibration.reporting import Reported, report
from calibration.units import Unit, degrees
from ingest.chain.rest import RestReading
from ingest.core.channels import ROW, Channel
from ingest.core.frames import Side
from ingest.core.published import PublishedResults
from ingest.core.units import DEG
from ingest.geometry.carry import SettledWheel, ShaftReading, settled_wheel
from ingest.geometry.fixed import settled_fixed
from ingest.geometry.runout import Runout, RunoutEstimates
from ingest.geometry.sightline import Sightline
from ingest.geometry.wheels import total_toe
from ingest.payload.axle import AxleResult
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.bayspread import (
    Occasion,
    SpreadSettings,
    camber_scatter,
    heading_scatter,
    total_toe_scatter,
)
from ingest.service.ground import Ground, worst
from ingest.service.resultnotes import ResultNotes
from ingest.service.stood import Stood, named
from ingest.service.takenoff import kept
from ingest.service.verdicts import with_verdict

_HANGING = (Channel.INCL_X, Channel.INCL_Y, Channel.ROTATION, Channel.AZIMUTH_CROSS)
_FIXED = (Channel.INCL_X, Channel.INCL_Y, Channel.INCL_Z)
_NEEDED = 3
"""So many of either must have a value; a sightline may be missing."""


@dataclass(frozen=True, slots=True)
class Settled:
    """A settled wheel, and the rest that it was read from."""

    wheel: SettledWheel
    t_ns: int
    records: tuple[str, ...]
    occasion: Occasion


def settle(
    head: BayHead,
    rest: RestReading,
    runout: Runout,
    spread: SpreadSettings,
    sightline: Sightline,
    occasion: Occasion,
) -> Settled | None:
    """Return the settled wheel; None where a needed channel has no value or no uncertainty."""
    wheel, estimates = head.wheel, runout.estimates
    if wheel is None or estimates is None:
        return None
    channels = _FIXED if head.fixed else _HANGING
    means = {c.value: float(rest.values[ROW[c]]) for c in channels}
    if not all(math.isfinite(means[c.value]) for c in channels[:_NEEDED]):
        return None
    blind = head.instrument.zero_open(Channel.AZIMUTH_CROSS.value)
    seen = [c for c in channels if math.isfinite(means[c.value])]
    seen = [c for c in seen if not (blind and c is Channel.AZIMUTH_CROSS)]
    read = {c: reading_at_rest(head, rest, c, means) for c in seen}
    if head.fixed:
        x, y, z = (read[c] for c in _FIXED)
        found = settled_fixed((x, y, z), estimates.angle, estimates.phase, wheel.side)
    else:
        found = _hanging(read, estimates, spread, sightline, wheel.side)
    camber = found.camber + camber_scatter(spread, occasion)
    heading = found.heading
    if heading is not None:
        heading = heading + heading_scatter(spread)
    records = (head.instrument.correction.stands_on,)
    return Settled(SettledWheel(camber, heading), rest.t_ns, records, occasion)


def _hanging(
    read: dict[Channel, Measured],
    estimates: RunoutEstimates,
    spread: SpreadSettings,
    sightline: Sightline,
    side: Side,
) -> SettledWheel:
    tilt = spread.port_height_m / (sightline.length_m or 2.0)
    shaft = ShaftReading(
        incl_x=read[Channel.INCL_X],
        incl_y=read[Channel.INCL_Y],
        rotation=read[Channel.ROTATION],
        azimuth=read.get(Channel.AZIMUTH_CROSS),
        sightline_elevation=Measured.of(0.0, tilt, source="heights of the ports"),
    )
    return settled_wheel(shaft, estimates.angle, estimates.phase, side)


def reading_at_rest(
    head: BayHead, rest: RestReading, channel: Channel, means: dict[str, float]
) -> Measured:
    """Return one channel at rest: its noise, and what its calibration leaves open.

    ``means`` holds the head's other readings at the same rest, rad, by channel.
    """
    row = ROW[channel]
    noise = float(rest.u[row])
    step = head.instrument.noise_deg(channel.value, max(1, int(rest.counts[row]))) * DEG
    u = math.hypot(noise if math.isfinite(noise) else 0.0, step)
    correction = head.instrument.correction
    known = {name: value for name, value in means.items() if math.isfinite(value)}
    degc = float(rest.values[ROW[Channel.TEMPERATURE]])
    left_open = head.instrument.left_open(channel.value, known, degc)
    seen = Measured.of(means[channel.value], u, source=f"noise of {channel.value} at rest")
    return Measured(
        seen.value,
        (*seen.parts, *left_open.parts),
        left_open.stands_on | {correction.stands_on},
    )


def fields_of(
    announcer: Announcer,
    quantity: str,
    shown: Reported,
    t_ns: int,
    records: Sequence[str],
    heads: Sequence[BayHead],
    ground: Ground | None = None,
) -> dict[str, Any]:
    """Return what is published of a result, but for its id: as good as what it stands on.

    ``ground``: what it is told against, where that has a part in it.
    """
    today = announcer.today()
    trusts = [each.instrument.trust(today) for each in heads]
    quality, why = worst(trusts if ground is None else [*trusts, ground.trust(today)])
    calibrated = all(each.instrument.record is not None for each in heads)
    return {
        **announcer.moment(t_ns),
        "boot": announcer.boot,
        "qty": quantity,
        "value": shown.value,
        "unit": shown.unit.value,
        "U": shown.U,
        "k": shown.k,
        "dp": shown.dp,
        "cal": "+".join(records)[:80] if calibrated else None,
        "against": None if ground is None else ground.name,
        "q": quality,
        "why": why,
        "text": shown.text,
    }


class ResultDesk:
    """Publishes results, and takes them back when what they stand on is gone."""

    def __init__(
        self,
        announcer: Announcer,
        spread: SpreadSettings,
        published: PublishedResults | None = None,
        ground: Ground | None = None,
    ) -> None:
        self._announcer = announcer
        self._spread = spread
        self._ground = ground or Ground(None)
        self._notes = ResultNotes(announcer, spread.told, published)
        self._ids = itertools.count(1)
        self._standing: dict[str, Stood] = {}
        self._last: dict[str, dict[str, Any]] = {}
        self._said: set[str] = set()

    @property
    def standing(self) -> dict[str, Measured]:
        """What stands now, by topic, in rad and unrounded, with all correlations."""
        return {topic: stood.measured for topic, stood in self._standing.items()}

    @property
    def stood(self) -> dict[str, Stood]:
        """The same, as it was published, and when it was read last."""
        return dict(self._standing)

    def forget_results(self) -> None:
        """Clear all that was said; what still stands is said anew when it is read again."""
        for topic in self._said:
            self._announcer.clear(topic)
        self._said.clear()
        self._last.clear()
        self._standing.clear()

    def camber(self, head: BayHead, settled: Settled) -> None:
        """Publish a wheel's camber, to the bay's standing points where they were surveyed."""
        wheel = head.wheel
        assert wheel is not None
        topic = self._announcer.topics.axle(wheel.axle, wheel.side.value, "camber")
        camber = self._ground.camber(wheel.side, settled.wheel.camber)
        self._say(topic, "camber", camber, settled, [head], self._ground)

    def total_toe(self, head: BayHead, settled: Settled, partner: BayHead, across: Settled) -> None:
        """Publish an axle's total toe, where both wheels saw each other at rest."""
        wheel = head.wheel
        assert wheel is not None
        by_side = {head.wheel: settled.wheel.heading, partner.wheel: across.wheel.heading}
        headings = {w.side.value: h for w, h in by_side.items() if w and h is not None}
        if len(headings) < 2:
            return
        occasion = settled.occasion.across(across.occasion, wheel.axle)
        toe = total_toe(headings["left"], headings["right"])
        toe = toe + total_toe_scatter(self._spread, occasion)
        topic = self._announcer.topics.axle(wheel.axle, "both", "total-toe")
        records = tuple(sorted({*settled.records, *across.records}))
        both = replace(settled, records=records, occasion=occasion)
        self._say(topic, "total-toe", toe, both, [head, partner])

    def withdraw(self, head: BayHead, why: str) -> None:
        """Mark what stands on this head's rest as stale: the wheel is not where it was read."""
        for topic in self._topics_of(head):
            if self._standing.pop(topic, None) is not None:
                self._notes.over(topic)
                fields = {**self._last[topic], "q": "stale", "why": why, "dec": "none"}
                self._announcer.state(topic, AxleResult(**fields))

    def keep(self, head: BayHead, *, stood: bool) -> None:
        """Say again what was last read of a settled wheel: taking a head off moves no wheel."""
        for topic in self._topics_of(head):
            if self._standing.pop(topic, None) is not None:
                self._notes.over(topic)
            last = self._last.pop(topic, None)
            if last is not None:
                self._announcer.state(topic, AxleResult(**kept(last, stood=stood)))

    def _topics_of(self, head: BayHead) -> tuple[str, ...]:
        wheel, topics = head.wheel, self._announcer.topics
        if wheel is None:
            return ()
        return (
            topics.axle(wheel.axle, wheel.side.value, "camber"),
            topics.axle(wheel.axle, "both", "total-toe"),
        )

    def _say(
        self,
        topic: str,
        quantity: str,
        measured: Measured,
        settled: Settled,
        heads: list[BayHead],
        ground: Ground | None = None,
    ) -> None:
        shown = report(degrees(measured), Unit.DEGREE)
        t_ns, records = settled.t_ns, settled.records
        told = fields_of(self._announcer, quantity, shown, t_ns, records, heads, ground)
        fields = {**told, "id": f"ax-{next(self._ids)}"}
        fields = with_verdict(self._announcer.verdicts, topic, measured, fields)
        self._standing[topic] = Stood(measured, fields, named(heads), self._announcer.wall())
        self._last[topic] = fields
        self._said.add(topic)
        self._announcer.state(topic, AxleResult(**fields))
        self._notes.said(topic, fields, settled.occasion, heads)
