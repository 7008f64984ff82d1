"""Second stage: the head's clock mapped to the host's, by the arrivals that were least late."""

import math
from dataclasses import dataclass

import numpy as np

from ingest.chain.envelope import Line, line_below
from ingest.chain.order import OrderedRun
from ingest.chain.slope import slope_limits
from ingest.chain.stage import require
from ingest.core.blocks import F64, I32, I64, U8

_FIRST_EPOCH_US = 125_000
_KNOWN_FROM_EPOCHS = 8
_BOUND_FROM_SAMPLES = 20
_TICK_NS = 1000
_PROVEN_FROM_EPOCHS = 20
_PROVEN_DEVIATES = 5.3
"""How surely a bad clock is named (one error in some ten million). Theil and Sen's slope takes no
law of lateness for granted, and a few arrivals that were late do not turn it."""


@dataclass(frozen=True, slots=True)
class ClockSettings:
    """How a head's clock is followed."""

    epoch_s: float = 1.0
    """The map changes this often (at first more often), always at set device times."""
    window_s: float = 60.0
    """Epochs of this long stand behind the map."""
    max_drift_ppm: float = 200.0
    """No head's oscillator is believed to be worse."""
    max_slew: float = 0.5
    """A correction is spread over the next epoch, as long as it changes the pace of time by
    no more than this; a larger one is a step, and shows as a gap."""

    def __post_init__(self) -> None:
        require(0.2 <= self.epoch_s <= 60.0, "epoch_s", self.epoch_s, "0.2 to 60 s")
        epochs = self.window_s / self.epoch_s
        require(2.0 <= epochs <= 1000.0, "window_s", self.window_s, "2 to 1000 times epoch_s")
        limit = self.max_drift_ppm
        require(0.0 < limit <= 10_000.0, "max_drift_ppm", limit, "above 0, at most 10000")
        require(0.01 <= self.max_slew <= 0.9, "max_slew", self.max_slew, "0.01 to 0.9")


@dataclass(frozen=True, slots=True)
class TimedRun:
    """Consecutive samples on the host's clock; ``t_ns`` strictly increasing."""

    t_ns: I64
    status: U8
    codes: I32
    after_gap: bool


@dataclass(slots=True)
class _Epoch:
    """What the arrivals of one epoch say. Offsets are arrival minus device time, ns, less
    that of the first sample."""

    count: int = 0
    total_ns: int = 0
    least_ns: int = 0
    least_at_us: int = 0
    shared: int = 0
    """Samples that arrived in one piece with the sample before."""

    def take(self, t_us: I64, offset_ns: I64, shared: int) -> None:
        at = int(offset_ns.argmin())
        if not self.count or offset_ns[at] < self.least_ns:
            self.least_ns, self.least_at_us = int(offset_ns[at]), int(t_us[at])
        self.count += len(t_us)
        self.total_ns += int(offset_ns.sum())
        self.shared += shared

    @property
    def lateness_ns(self) -> float:
        """How much later than the earliest the samples arrived on average."""
        return self.total_ns / self.count - self.least_ns


@dataclass(frozen=True, slots=True)
class _Map:
    """Offset over one epoch: ``base_ns`` at ``from_us``, then ``pace`` ns per us."""

    from_us: int
    base_ns: int
    pace: float
    line: Line
    """Where the offset goes on after the epoch."""

    def at(self, t_us: I64) -> I64:
        """Return the offset, ns, shape (n,)."""
        offset: I64 = np.rint((t_us - self.from_us) * self.pace).astype(np.int64)
        offset += self.base_ns
        return offset


class Clock:
    """Maps one head's device time to host time.

    An arrival can only be late, so the line under the points (device time, arrival minus
    device time) is the map. A transit time that no sample ever undercuts cannot be seen in
    arrivals, and stays in the map.
    """

    def __init__(self, settings: ClockSettings, rate_hz: float) -> None:
        self._epoch_us = round(settings.epoch_s * 1e6)
        self._window_us = round(settings.window_s * 1e6)
        self._steepest = settings.max_drift_ppm * 1e-3  # ns per us
        self._max_pace = settings.max_slew * 1e3
        self._period_ns = 1e9 / rate_hz
        self.steps = 0
        """How often time had to step, since a correction was too large to be spread."""
        self.reset()

    def reset(self) -> None:
        """Forget the head's clock."""
        self._begun = False
        self._seen = 0
        self._bound_ns: int | None = None
        self._points: F64 = np.empty((2, 0))

    @property
    def drift_ppm(self) -> float | None:
        """How much the head's clock gains on the host's; None until that is known."""
        if self._points.shape[1] < _KNOWN_FROM_EPOCHS:
            return None
        return -self._map.line.slope * 1e3

    @property
    def beyond_ppm(self) -> float | None:
        """The most that a clock is believed to gain, where this one surely gains more (negative:
        loses more); None where it does not, or cannot be told from how late samples come."""
        t_us, offset_ns = self._points
        if len(t_us) < _PROVEN_FROM_EPOCHS:
            return None
        least, most = slope_limits(t_us, offset_ns, _PROVEN_DEVIATES)
        if least <= self._steepest and most >= -self._steepest:
            return None
        return math.copysign(self._steepest * 1e3, -(least + most))

    @property
    def bound_ns(self) -> int | None:
        """How far host times may be off, apart from a constant transit time; None at first.

        It covers the scatter of the earliest arrivals, what the drift may be off until the
        end of the epoch, a correction that is still being spread, and, where samples arrive
        several at a time, one period, since then the newest may always have waited.
        """
        return self._bound_ns

    def feed(self, run: OrderedRun) -> list[TimedRun]:
        """Return the run on host time; two runs or more where time had to step."""
        if run.restarted or not self._begun:
            self._begin(run)
        t_ns = run.t_us * 1000
        t_ns += self._origin_ns
        offset_ns = run.arrived_ns - t_ns
        cuts: list[int] = []
        at = 0
        while at < len(t_ns):
            if run.t_us[at] >= self._end_us and self._next_epoch(int(run.t_us[at])):
                cuts.append(at)
            end = len(t_ns)
            if run.t_us[-1] >= self._end_us:
                end = int(run.t_us.searchsorted(self._end_us))
            self._collect(run, offset_ns, slice(at, end))
            t_ns[at:end] += self._map.at(run.t_us[at:end])
            at = end
        return _cut(run, t_ns, cuts)

    def _begin(self, run: OrderedRun) -> None:
        """Map the first epoch by its first arrival, which is all there is."""
        self.reset()
        self._begun = True
        start_us = int(run.t_us[0])
        self._origin_ns = int(run.arrived_ns[0]) - start_us * 1000
        self._arrived_ns = -1
        self._length_us = min(_FIRST_EPOCH_US, self._epoch_us)
        self._end_us = start_us + self._length_us
        self._epoch = _Epoch()
        self._map = _Map(start_us, 0, 0.0, Line(start_us, 0.0, 0.0))

    def _collect(self, run: OrderedRun, offset_ns: I64, span: slice) -> None:
        arrived = run.arrived_ns[span]
        shared = int(np.count_nonzero(arrived[1:] == arrived[:-1]))
        shared += bool(arrived[0] == self._arrived_ns)
        self._arrived_ns = int(arrived[-1])
        self._epoch.take(run.t_us[span], offset_ns[span], shared)

    def _next_epoch(self, t_us: int) -> bool:
        """Close the epoch and map the one that holds ``t_us``; say whether time steps."""
        epoch, self._epoch = self._epoch, _Epoch()
        known = self._points
        known = known[:, int(known[0].searchsorted(epoch.least_at_us - self._window_us)) :]
        newest = [[epoch.least_at_us], [epoch.least_ns]]
        self._points = np.concatenate((known, newest), axis=1)
        line, scatter_ns = self._line()
        ended_us, ended = self._end_us, self._map
        self._length_us = min(2 * self._length_us, self._epoch_us)
        start_us = t_us - (t_us - ended_us) % self._length_us
        self._end_us = start_us + self._length_us
        base = ended.base_ns + ended.pace * (ended_us - ended.from_us)
        base_ns = round(base + ended.line.slope * (start_us - ended_us))
        pace = (line(self._end_us) - base_ns) / self._length_us
        steps = abs(pace) > self._max_pace
        if steps:
            self.steps += 1
            self._points = self._points[:, -1:]
            line, scatter_ns = self._line()
            base_ns, pace = round(line(start_us)), line.slope
        self._map = _Map(start_us, base_ns, pace, line)
        self._seen += epoch.count
        if self._seen >= _BOUND_FROM_SAMPLES:
            self._bound_ns = self._bound(epoch, scatter_ns, line(start_us) - base_ns)
        return steps

    def _line(self) -> tuple[Line, float]:
        """Return the line under the points and how far these lie above it on average, ns."""
        t_us, offset_ns = self._points
        line = line_below(t_us, offset_ns, self._steepest)
        # The line's height is that at the mean time.
        return line, float(offset_ns.sum()) / len(offset_ns) - line.height

    def _bound(self, epoch: _Epoch, scatter_ns: float, correction_ns: float) -> int:
        t_us = self._points[0]
        scatter_ns += epoch.lateness_ns / len(t_us)
        span_us = float(t_us[-1] - t_us[0])
        pace_off = 2.0 * self._steepest
        if span_us:
            pace_off = min(pace_off, 4.0 * scatter_ns / span_us)
        reach_us = self._end_us - self._map.line.at
        together = min(1.0, 2.0 * epoch.shared / epoch.count)
        bound = scatter_ns + pace_off * reach_us + abs(correction_ns)
        return math.ceil(bound + together * self._period_ns + _TICK_NS)


def _cut(run: OrderedRun, t_ns: I64, cuts: list[int]) -> list[TimedRun]:
    """Cut a run where time steps; what follows a cut comes after a gap."""
    if not cuts:
        return [TimedRun(t_ns, run.status, run.codes, run.after_gap)]
    starts = cuts if cuts[0] == 0 else [0, *cuts]
    out = []
    for start, end in zip(starts, [*starts[1:], len(t_ns)], strict=True):
        span = slice(start, end)
        gap = start in cuts or run.after_gap
        codes = np.ascontiguousarray(run.codes[:, span])
        out.append(TimedRun(t_ns[span], run.status[span], codes, gap))
    return out
