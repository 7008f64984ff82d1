"""Low-pass and decimation in one: the mean over windows that do not overlap."""

from dataclasses import dataclass

import numpy as np

from ingest.chain.angles import first_number, is_patchy, wrap_rows
from ingest.chain.stage import require
from ingest.core.blocks import F64, I64, U16, SampleBlock
from ingest.core.channels import CHANNELS


@dataclass(frozen=True, slots=True)
class DecimateSettings:
    """How many values a second leave."""

    output_hz: float = 10.0
    """10 Hz has its nulls at every multiple of 10 Hz, thus on mains hum of 50 and 60 Hz and
    on what of it a sampled head folds down to such a multiple."""

    def __post_init__(self) -> None:
        require(0.1 <= self.output_hz <= 1000.0, "output_hz", self.output_hz, "0.1 to 1000 Hz")


class Decimate:
    """Averages each ``size`` samples into one, at the mean of their times.

    White noise of the input leaves uncorrelated, its variance divided by ``size``. Windows
    are counted from the start of a run; one that a gap cuts short is dropped. A channel that
    misses some values of a window is the mean of the others.
    """

    def __init__(self, settings: DecimateSettings, rate_hz: float) -> None:
        self.size = max(1, round(rate_hz / settings.output_hz))
        self.lag_ns = round((self.size - 1) * 0.5e9 / rate_hz)
        self.cut_windows = 0
        """Windows that a gap cut short."""
        self.reset()

    def reset(self) -> None:
        """Forget every sample."""
        self._values: F64 = np.empty((len(CHANNELS), 0))
        self._t_ns: I64 = np.empty(0, np.int64)
        self._flags: U16 = np.empty(0, np.uint16)
        self._after_gap = True

    @property
    def lacking(self) -> int:
        """How many samples the window under way still lacks."""
        return self.size - len(self._t_ns)

    def feed(self, block: SampleBlock) -> list[SampleBlock]:
        """Return the windows that the block completes."""
        if block.after_gap:
            self.cut_windows += bool(len(self._t_ns))
            self.reset()
        values = np.concatenate((self._values, block.values), axis=1)
        t_ns = np.concatenate((self._t_ns, block.t_ns))
        flags = np.concatenate((self._flags, block.flags))
        full = len(t_ns) // self.size
        taken = full * self.size
        self._values, self._t_ns, self._flags = values[:, taken:], t_ns[taken:], flags[taken:]
        if not full:
            return []
        windows = values[:, :taken].reshape(len(CHANNELS), full, self.size)
        out = SampleBlock(
            t_ns=_mean_time(t_ns[:taken].reshape(full, self.size)),
            values=_mean(windows, patchy=is_patchy(np.isnan(values))),
            flags=np.bitwise_or.reduce(flags[:taken].reshape(full, self.size), axis=1),
            after_gap=self._after_gap,
            lag_ns=block.lag_ns + self.lag_ns,
        )
        self._after_gap = False
        return [out]


def _mean_time(windows_ns: I64) -> I64:
    start = windows_ns[:, 0]
    mean: I64 = start + (windows_ns - start[:, None]).sum(axis=1) // windows_ns.shape[1]
    return mean


def _mean(windows: F64, *, patchy: bool) -> F64:
    """Mean over the last axis, shape (8, n); circular channels about each window's first."""
    reference = first_number(windows) if patchy else windows[:, :, :1]
    relative = windows - reference
    wrap_rows(relative)
    count: F64 | int = windows.shape[2]
    if patchy:
        missing = np.isnan(relative)
        relative[missing] = 0.0
        count = np.maximum(windows.shape[2] - np.count_nonzero(missing, axis=2), 1)
    mean: F64 = reference[:, :, 0] + relative.sum(axis=2) / count
    wrap_rows(mean)
    return mean
