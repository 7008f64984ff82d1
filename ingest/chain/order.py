"""First stage: time without wraps, duplicates dropped, gaps and restarts told apart."""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from ingest.chain.stage import require
from ingest.core.blocks import I32, I64, U8, RawRun
from ingest.core.counters import LinkCounters
from ingest.core.ids import BootId

_TICKS = 1 << 32
_HALF_TICKS = 1 << 31
_SEQS = 1 << 16
_SEQ_MASK = _SEQS - 1


@dataclass(frozen=True, slots=True)
class OrderSettings:
    """When a sample is late, and when a head's clock is no longer the same clock."""

    reorder_s: float = 2.0
    """A sample up to this much older than the newest is a duplicate or came out of order."""
    pause_periods: float = 5.0
    """A longer step of device time ends a run of samples even when none is missing."""
    jump_s: float = 10.0
    """Device time ahead of the arrivals by more than this: the head restarted."""
    silence_s: float = 60.0
    """After a longer silence the clock is mapped anew (its counter wraps at 71 min)."""

    def __post_init__(self) -> None:
        require(0.0 <= self.reorder_s <= 600.0, "reorder_s", self.reorder_s, "0 to 600 s")
        require(self.pause_periods >= 1.5, "pause_periods", self.pause_periods, "at least 1.5")
        require(self.jump_s > 0.0, "jump_s", self.jump_s, "above 0 s")
        require(0.0 < self.silence_s <= 1800.0, "silence_s", self.silence_s, "up to 1800 s")


@dataclass(frozen=True, slots=True)
class OrderedRun:
    """Consecutive samples. ``t_us`` only grows, and has no wraps since ``restarted``.

    ``after_gap``: something is missing before the first sample. ``restarted``: device time
    has nothing to do with that of the run before.
    """

    t_us: I64
    status: U8
    codes: I32
    arrived_ns: I64
    after_gap: bool
    restarted: bool


class _Verdict(Enum):
    NEXT = auto()
    GAP = auto()
    LATE = auto()
    RESTART = auto()


class Order:
    """Puts one head's samples in order. Counts lost, duplicates and reboots.

    Device time decides what is late, since it wraps seldom; the sequence number counts what
    is missing.
    """

    def __init__(self, settings: OrderSettings, rate_hz: float, counters: LinkCounters) -> None:
        self._reorder_us = round(settings.reorder_s * 1e6)
        self._pause_us = round(settings.pause_periods * 1e6 / rate_hz)
        self._jump_us = round(settings.jump_s * 1e6)
        self._silence_ns = round(settings.silence_s * 1e9)
        self._rate_hz = rate_hz
        self._counters = counters
        self.reset()

    def reset(self) -> None:
        """Forget the head's clock and numbers: the next sample starts anew."""
        self._boot: BootId | None = None
        self._t_us: int | None = None
        self._seq = 0
        self._arrived_ns = 0

    def feed(self, run: RawRun) -> list[OrderedRun]:
        """Return the samples of one boot as runs without gaps."""
        if not len(run):
            return []
        if run.boot != self._boot:
            self._counters.reboots += self._boot is not None
            self._boot = run.boot
            self._t_us = None
        steps = _signed(_differences(run.t_us, self._t_us))
        in_sequence = _differences(run.seq, self._seq) & _SEQ_MASK == 1
        regular = (steps > 0) & (steps <= self._pause_us) & in_sequence
        if regular.all():
            t_us = self._follow(run, slice(None), steps)
            return [OrderedRun(t_us, run.status, run.codes, run.arrived_ns, False, False)]
        return self._sort(run, steps, np.flatnonzero(~regular).tolist())

    def _sort(self, run: RawRun, steps: I64, irregular: list[int]) -> list[OrderedRun]:
        """Follow regular stretches at once; judge one by one what does not simply follow."""
        t_us = np.empty(len(run), np.int64)
        kept = np.ones(len(run), np.bool_)
        openings = [(0, _Verdict.NEXT)]

        def judge(at: int) -> bool:
            verdict = self._judge(run, at)
            if verdict is _Verdict.LATE:
                kept[at] = False
                return False
            if verdict is not _Verdict.NEXT:
                openings.append((at, verdict))
            assert self._t_us is not None
            t_us[at] = self._t_us
            return True

        at = 0
        follows = True
        for mark in [*irregular, len(run)]:
            while at < mark and not follows:
                follows = judge(at)
                at += 1
            if at < mark:
                t_us[at:mark] = self._follow(run, slice(at, mark), steps)
            if mark < len(run):
                follows = judge(mark)
                at = mark + 1
        return _pieces(run, t_us, kept, openings)

    def _follow(self, run: RawRun, span: slice, steps: I64) -> I64:
        """Accept a regular stretch; return its device times."""
        assert self._t_us is not None
        t_us: I64 = self._t_us + np.cumsum(steps[span])
        self._t_us = int(t_us[-1])
        self._seq = int(run.seq[span][-1])
        self._arrived_ns = int(run.arrived_ns[span][-1])
        return t_us

    def _judge(self, run: RawRun, at: int) -> _Verdict:
        """Weigh one sample against the newest accepted one, and take it unless it is late."""
        t, seq, arrived_ns = int(run.t_us[at]), int(run.seq[at]), int(run.arrived_ns[at])
        verdict, step_us = _Verdict.RESTART, 0
        if self._t_us is not None:
            step_us = (t - self._t_us + _HALF_TICKS) % _TICKS - _HALF_TICKS
            verdict = self._verdict(step_us, (seq - self._seq) & _SEQ_MASK, arrived_ns)
        if verdict is _Verdict.LATE:
            self._counters.duplicates += 1
            return verdict
        fresh = self._t_us is None or verdict is _Verdict.RESTART
        self._t_us = t if fresh or self._t_us is None else self._t_us + step_us
        self._seq = seq
        self._arrived_ns = arrived_ns
        return verdict

    def _verdict(self, step_us: int, seq_step: int, arrived_ns: int) -> _Verdict:
        quiet_ns = arrived_ns - self._arrived_ns
        if seq_step == 1 and 0 < step_us <= self._pause_us:
            return _Verdict.NEXT
        if quiet_ns > self._silence_ns:
            self._count_lost(seq_step, quiet_ns * 1e-9)
            return _Verdict.RESTART
        if -self._reorder_us <= step_us <= 0:
            return _Verdict.LATE
        if step_us < 0 or step_us > quiet_ns // 1000 + self._jump_us:
            self._counters.reboots += 1
            self._counters.jumps += 1
            return _Verdict.RESTART
        self._count_lost(seq_step, step_us * 1e-6)
        return _Verdict.GAP

    def _count_lost(self, seq_step: int, elapsed_s: float) -> None:
        """Count missing samples; the time that went by says how often the number wrapped."""
        missing = (seq_step - 1) & _SEQ_MASK
        if seq_step == 0 and elapsed_s * self._rate_hz < _SEQS / 2:
            missing = 0  # the number stands still: that is no loss of a whole round of numbers
        if missing:
            by_time = elapsed_s * self._rate_hz - 1.0
            missing += _SEQS * max(0, round((by_time - missing) / _SEQS))
        self._counters.lost += missing


def _differences(values: I64, before: int | None) -> I64:
    """Return each value minus the one before it; the first is 0 when nothing came before."""
    steps = np.empty_like(values)
    np.subtract(values[1:], values[:-1], out=steps[1:])
    steps[0] = 0 if before is None else values[0] - before
    return steps


def _signed(steps_us: I64) -> I64:
    """Take wraps of the device's counter out of differences."""
    signed: I64 = ((steps_us + _HALF_TICKS) & (_TICKS - 1)) - _HALF_TICKS
    return signed


def _pieces(
    run: RawRun, t_us: I64, kept: NDArray[np.bool_], openings: list[tuple[int, _Verdict]]
) -> list[OrderedRun]:
    """Cut a run at its openings and leave out what was not kept."""
    out = []
    ends = [at for at, _ in openings[1:]] + [len(run)]
    for (start, verdict), end in zip(openings, ends, strict=True):
        pick = start + np.flatnonzero(kept[start:end])
        if not pick.size:
            continue
        out.append(
            OrderedRun(
                t_us=t_us[pick],
                status=run.status[pick],
                codes=np.ascontiguousarray(run.codes[:, pick]),
                arrived_ns=run.arrived_ns[pick],
                after_gap=verdict is not _Verdict.NEXT,
                restarted=verdict is _Verdict.RESTART,
            )
        )
    return out
