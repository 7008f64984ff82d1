"""Live readings of one head: published when they change, or often enough to be seen alive."""

import contextlib
import math
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from calibration.reporting import report_expanded, report_unknown
from calibration.rounding import Place
from calibration.units import Unit as ReportUnit
from ingest.core.blocks import Flag, SampleBlock
from ingest.core.channels import ANGLES, CHANNELS, Channel
from ingest.core.units import DEG, NS
from ingest.payload.base import Quality
from ingest.payload.head import Reading
from ingest.service.announcer import Announcer
from ingest.service.instrument import Instrument

U_EVERY_S = 1.0
"""The uncertainty of a live reading is worked out anew this often."""

TOLERANCE_S = 0.005
"""The stream's own period is not exactly that of the settings."""

SHOWN_STEP_DEGC = 0.1
"""How finely a temperature is told whose uncertainty nobody knows."""

READING = Place(-3)
"""A reading in degrees is told to this place at least. Rounding to U (GUM 7.2.6) is for results:
the U of a head that nobody calibrated is degrees, nearly all of it one zero that does not move, and
a reading rounded to it would stand still while the head is tilted, then jump. How a head moves is
bounded by noise and resolution (the noise of a low-cost head is some thousandths)."""

WIRE_STEP_DEG = 1e-4
"""One code of the wire, where no record says how finely a head really reads."""


@dataclass(frozen=True, slots=True)
class LiveSettings:
    """When a live reading is published."""

    min_s: float = 0.1
    max_s: float = 1.0
    ttl_s: float = 3.0

    def __post_init__(self) -> None:
        if not 0.0 < self.min_s <= self.max_s < self.ttl_s:
            raise ValueError("needs 0 < min_s <= max_s < ttl_s")


@dataclass(slots=True)
class _Said:
    """What a channel's topic says now."""

    topic: str
    value: float = math.nan
    t_ns: int = -(1 << 62)
    still: bool = False
    U: float | None = None
    deadband: float = 0.0
    seen_value: float = math.nan
    seen_ns: int = 0

    def rate(self, value: float, t_ns: int) -> float:
        """Return the change per second since the value seen before; NaN at first."""
        seen, self.seen_value = self.seen_value, value
        since_s = (t_ns - self.seen_ns) / NS
        self.seen_ns = t_ns
        return (value - seen) / since_s if since_s > 0.0 else math.nan

    def offer(self, value: float, t_ns: int, still: bool, settings: LiveSettings) -> bool:
        """Take a value where it is worth saying; say whether it is."""
        waited_s = (t_ns - self.t_ns) / NS
        moved = still is not self.still or not abs(value - self.value) < self.deadband
        due = settings.min_s if moved else settings.max_s
        if waited_s < due - TOLERANCE_S:
            return False
        self.value, self.t_ns, self.still = value, t_ns, still
        return True

    def withdraw(self, t_ns: int, settings: LiveSettings) -> bool:
        """Take note that there is no value; say whether that is worth saying (again)."""
        if self.t_ns < 0:
            return False
        due_s = settings.max_s if math.isnan(self.value) else settings.min_s
        if (t_ns - self.t_ns) / NS < due_s - TOLERANCE_S:
            return False
        self.value, self.t_ns, self.still = math.nan, t_ns, False
        return True


class LiveReadings:
    """Publishes the channels of one head, each when it moved by more than it is worth.

    A change counts from the larger of half the resolution and a tenth of U on; nothing is
    said more often than ``min_s`` or less often than ``max_s``.
    """

    def __init__(self, settings: LiveSettings, announcer: Announcer, head: str) -> None:
        self._settings = settings
        self._announcer = announcer
        self._said = {c: _Said(announcer.topics.reading(head, c)) for c in CHANNELS}
        self._u_ns = -(1 << 62)

    def feed(self, blocks: list[SampleBlock], head: Instrument, averaged: int) -> None:
        """Publish what the newest sample of ``blocks``, a mean of ``averaged``, changes."""
        block = next((b for b in reversed(blocks) if len(b)), None)
        if block is None:
            return
        t_ns, flags = int(block.t_ns[-1]), Flag(int(block.flags[-1]))
        judged = judge(flags, head, self._announcer.today())
        newest = dict(zip(CHANNELS, block.values[:, -1].tolist(), strict=True))
        if t_ns - self._u_ns >= U_EVERY_S * NS:
            self._u_ns = t_ns
            self._refresh(newest, head, averaged)
        for channel, value in newest.items():
            said = self._said[channel]
            if value != value:
                if said.withdraw(t_ns, self._settings):
                    self._say_gone(channel, said, flags, block.lag_ns)
                continue
            shown = value / DEG if channel in ANGLES else value
            rate = said.rate(shown, t_ns)
            if said.offer(shown, t_ns, bool(flags & Flag.STILL), self._settings):
                self._say(channel, said, rate, judged, head, block.lag_ns)

    def _refresh(self, newest: dict[Channel, float], head: Instrument, averaged: int) -> None:
        readings = {c.value: v for c, v in newest.items() if v == v}
        degc = newest[Channel.TEMPERATURE]
        for channel, said in self._said.items():
            own = head.figures.get(channel.value)
            step = WIRE_STEP_DEG if own is None else own.resolution_deg
            said.U = None
            if head.zero_open(channel.value):
                said.deadband = step / 2.0
                continue
            with contextlib.suppress(KeyError):  # neither record nor default knows the channel
                shared = head.correction.systematic_u_rad(channel.value, readings, degc) / DEG
                said.U = 2.0 * math.hypot(shared, head.noise_deg(channel.value, averaged))
            said.deadband = max(step / 2.0, 0.0 if said.U is None else said.U / 10.0)

    def _say(
        self,
        channel: Channel,
        said: _Said,
        rate: float,
        judged: tuple[Quality, str],
        head: Instrument,
        lag_ns: int,
    ) -> None:
        unit = ReportUnit.DEGREE if channel in ANGLES else ReportUnit.CELSIUS
        if said.U is None:
            step = WIRE_STEP_DEG if channel in ANGLES else SHOWN_STEP_DEGC
            shown = report_unknown(said.value, unit, resolution=step)
        else:
            shown = report_expanded(said.value, said.U, unit)
            if channel in ANGLES and shown.dp < READING.dp:
                fine = float(READING.nearest(said.value))
                shown = replace(shown, value=fine, dp=READING.dp)
        quality, why = judged
        message = self._message(
            channel,
            said,
            value=shown.value,
            U=shown.U,
            k=shown.k,
            dp=shown.dp,
            rate=round(rate, 3) if math.isfinite(rate) else None,
            cal=None if head.record is None else head.record.record_id,
            lag_ms=round(lag_ns * 1e-6, 1),
            q=quality,
            why=why,
        )
        self._announcer.live(said.topic, message, self._settings.ttl_s)

    def _say_gone(self, channel: Channel, said: _Said, flags: Flag, lag_ns: int) -> None:
        """Say that a channel which had a value has none: its sightline is blocked, say."""
        message = self._message(
            channel,
            said,
            value=None,
            U=None,
            k=None,
            dp=0,
            rate=None,
            cal=None,
            lag_ms=round(lag_ns * 1e-6, 1),
            q="bad",
            why="out-of-range" if flags & Flag.OUT_OF_RANGE else "no-value",
        )
        self._announcer.live(said.topic, message, self._settings.ttl_s)

    def _message(self, channel: Channel, said: _Said, **figures: Any) -> Reading:
        return Reading(
            **self._announcer.moment(said.t_ns),
            **self._announcer.serial(said.topic),
            unit=(ReportUnit.DEGREE if channel in ANGLES else ReportUnit.CELSIUS).value,
            still=said.still,
            ttl=self._settings.ttl_s,
            **figures,
        )


def judge(flags: Flag, head: Instrument, today: date) -> tuple[Quality, str]:
    """Return ``q`` and ``why`` of a reading that has a value.

    Out of range was some channel of the sample, not known which: the others are in doubt.
    """
    if flags & Flag.SENSOR_FAULT:
        return "bad", "sensor-fault"
    if flags & Flag.OUT_OF_RANGE:
        return "uncertain", "out-of-range"
    return head.trust(today)
