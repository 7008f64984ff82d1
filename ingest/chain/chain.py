"""The filter chain of one head: the stages in their order."""

from dataclasses import dataclass, field

from calibration.sensors import Correction
from ingest.chain.calibrate import Calibrate
from ingest.chain.clock import Clock, ClockSettings
from ingest.chain.decimate import Decimate, DecimateSettings
from ingest.chain.despike import Despike, DespikeSettings
from ingest.chain.gather import Gather
from ingest.chain.order import Order, OrderSettings
from ingest.chain.rest import Rest, RestReading, RestSettings
from ingest.chain.scale import Ranges, Scale
from ingest.chain.settle import Settle, SettleSettings
from ingest.chain.stage import Stage, require
from ingest.core.blocks import RawRun, SampleBlock
from ingest.core.counters import LinkCounters

_HELD_S = 0.2
"""No sample waits longer than this for others to be worked on with."""


@dataclass(frozen=True, slots=True)
class ChainSettings:
    """Settings of every stage; None leaves the stage out."""

    order: OrderSettings = field(default_factory=OrderSettings)
    clock: ClockSettings = field(default_factory=ClockSettings)
    despike: DespikeSettings | None = field(default_factory=DespikeSettings)
    decimate: DecimateSettings | None = field(default_factory=DecimateSettings)
    settle: SettleSettings | None = field(default_factory=SettleSettings)
    rest: RestSettings = field(default_factory=RestSettings)


class Chain:
    """Takes what the decoder gives for one head; gives calibrated, decimated, settled blocks.

    ``rate_hz`` is the rate that the head's hello states; a head that changes its rate gets a
    chain of its own. ``counters`` are the head's: lost, duplicates and reboots are counted
    there.
    """

    def __init__(
        self,
        settings: ChainSettings,
        correction: Correction | None,
        rate_hz: float,
        counters: LinkCounters,
        ranges: Ranges | None = None,
    ) -> None:
        require(0.1 <= rate_hz <= 100_000.0, "rate_hz", rate_hz, "0.1 to 100000 Hz")
        self.counters = counters
        self.period_s = 1.0 / rate_hz
        self._gather = Gather(max(1, round(_HELD_S * rate_hz)))
        self._order = Order(settings.order, rate_hz, counters)
        self.clock = Clock(settings.clock, rate_hz)
        self._scale = Scale(ranges or {}, counters)
        self._calibrate = Calibrate(correction)
        self._despike = Despike(settings.despike, rate_hz) if settings.despike else None
        self._decimate = Decimate(settings.decimate, rate_hz) if settings.decimate else None
        self.averaged = self._decimate.size if self._decimate else 1
        """Readings behind each value that leaves."""
        self.output_hz = rate_hz / self.averaged
        settle = Settle(settings.settle, self.output_hz) if settings.settle else None
        self._before: list[Stage] = [s for s in (self._despike, self._calibrate) if s]
        self._after: list[Stage] = [s for s in (self._decimate, settle) if s]
        self.rest = Rest(settings.rest, self.output_hz)
        self.full_rate: list[SampleBlock] = []
        """Calibrated samples at the head's own rate that the last ``feed`` worked on; short
        runs wait for others, no longer than a value of the low-pass would."""
        self.ended_rests: list[RestReading] = []
        """Rests that ended during the last ``feed``."""

    @property
    def lag_ns(self) -> int:
        """Delay of all filters: a value leaves so much after the moment that it describes."""
        return sum(stage.lag_ns for stage in (self._despike, self._decimate) if stage)

    @property
    def quiet_s(self) -> float:
        """How long until the sample arrives that completes the next value, from the newest on."""
        return max(1, self._wanted() - self._gather.held) * self.period_s

    @property
    def despiked(self) -> int:
        """Samples with a spike replaced, since the chain was made."""
        return self._despike.replaced if self._despike else 0

    @property
    def cut_windows(self) -> int:
        """Windows of the low-pass dropped because a gap cut them, since the chain was made."""
        return self._decimate.cut_windows if self._decimate else 0

    @property
    def correction(self) -> Correction | None:
        """The calibration in force."""
        return self._calibrate.correction

    def feed(self, run: RawRun) -> list[SampleBlock]:
        """Take samples as they came; return the values that they complete."""
        self.full_rate = [
            done
            for gathered in self._gather.feed(run, self._wanted())
            for ordered in self._order.feed(gathered)
            for timed in self.clock.feed(ordered)
            for done in _through(self._before, [self._scale.feed(timed)])
        ]
        out = _through(self._after, self.full_rate)
        self.ended_rests = [rest for block in out for rest in self.rest.feed(block)]
        return out

    def recalibrate(self, correction: Correction | None) -> None:
        """Put another calibration in force, as after a gap, for all samples not worked on yet."""
        self._calibrate.correction = correction
        self._forget(self._after)

    def reset(self) -> None:
        """Forget every sample and the head's clock: the link was opened anew."""
        self._gather.reset()
        self._order.reset()
        self.clock.reset()
        self._forget([*self._before, *self._after])

    def _wanted(self) -> int:
        """Return how many samples it takes, at least, to complete the next value."""
        if self._decimate is None:
            return 1
        delayed = self._despike.lacking if self._despike else 0
        return self._decimate.lacking + delayed

    def _forget(self, stages: list[Stage]) -> None:
        for stage in stages:
            stage.reset()
        self.rest.reset()
        self.full_rate = []
        self.ended_rests = []


def _through(stages: list[Stage], blocks: list[SampleBlock]) -> list[SampleBlock]:
    for stage in stages:
        blocks = [done for block in blocks for done in stage.feed(block)]
    return blocks
