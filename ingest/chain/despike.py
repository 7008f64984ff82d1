"""Hampel filter: a sample far from the median of its neighbours is replaced by it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.chain.angles import (
    first_number,
    is_patchy,
    per_row,
    sliding,
    wrap_rows,
)
from ingest.chain.stage import require
from ingest.core.blocks import F64, I64, U16, Flag, SampleBlock
from ingest.core.channels import CHANNELS
from ingest.core.units import DEG

MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal noise over its median absolute deviation, 1/Phi^-1(3/4)."""


@dataclass(frozen=True, slots=True)
class DespikeSettings:
    """What counts as a spike. The floors keep noise and the steps of a quantised sensor in."""

    neighbours: int = 3
    """Samples on either side that a sample is held against; also the delay."""
    threshold_sigma: float = 5.0
    floor_tilt_deg: float = 0.05
    floor_azimuth_deg: float = 0.1
    floor_turn_deg: float = 0.3
    """For rotation and steer, whose encoders are coarser."""
    floor_degc: float = 0.5

    def __post_init__(self) -> None:
        require(1 <= self.neighbours <= 50, "neighbours", self.neighbours, "1 to 50 samples")
        threshold = self.threshold_sigma
        require(threshold >= 1.0, "threshold_sigma", threshold, "at least 1")
        for name in ("floor_tilt_deg", "floor_azimuth_deg", "floor_turn_deg", "floor_degc"):
            require(getattr(self, name) >= 0.0, name, getattr(self, name), "not negative")


class Despike:
    """Replaces spikes, channel by channel, and flags the sample.

    A sample leaves when its neighbours after it have come: ``neighbours`` samples later. At
    the ends of a run it is held against those neighbours that there are. Steps, ramps and
    slow curves pass as they are: their middle sample is close to the median.
    F. R. Hampel, "The influence curve and its role in robust estimation", J. Am. Stat. Assoc.
    69 (1974) 383; as a moving filter R. K. Pearson, IEEE Trans. Control Syst. Technol. 10
    (2002) 55.
    """

    def __init__(self, settings: DespikeSettings, rate_hz: float) -> None:
        self._half = settings.neighbours
        self._spread = settings.threshold_sigma * MAD_TO_SIGMA
        self._floor = per_row(
            tilt=settings.floor_tilt_deg * DEG,
            azimuth=settings.floor_azimuth_deg * DEG,
            turn=settings.floor_turn_deg * DEG,
            temperature=settings.floor_degc,
        )
        self.lag_ns = round(settings.neighbours * 1e9 / rate_hz)
        self.replaced = 0
        """Samples in which at least one channel was replaced."""
        self._none = np.full((len(CHANNELS), self._half), np.nan)
        self.reset()

    def reset(self) -> None:
        """Forget every sample."""
        self._values: F64 = self._none
        self._t_ns: I64 = np.empty(0, np.int64)
        self._flags: U16 = np.empty(0, np.uint16)
        self._lag_ns = 0
        self._after_gap = True

    @property
    def lacking(self) -> int:
        """How many samples go in before the next one comes out."""
        return self._half - len(self._t_ns)

    def feed(self, block: SampleBlock) -> list[SampleBlock]:
        """Return what can be judged now."""
        out: list[SampleBlock] = []
        if block.after_gap:
            if len(self._t_ns):
                self._advance(self._none, out)
            self.reset()
        self._lag_ns = block.lag_ns + self.lag_ns
        self._t_ns = np.concatenate((self._t_ns, block.t_ns))
        self._flags = np.concatenate((self._flags, block.flags))
        self._advance(block.values, out)
        return out

    def _advance(self, values: F64, out: list[SampleBlock]) -> None:
        """Judge every held sample that now has all its neighbours."""
        held = np.concatenate((self._values, values), axis=1)
        ready = held.shape[1] - 2 * self._half
        if ready <= 0:
            self._values = held
            return
        clean = held[:, self._half : self._half + ready].copy()
        flags = self._flags[:ready].copy()
        self._judge(held, clean, flags)
        out.append(SampleBlock(self._t_ns[:ready], clean, flags, self._after_gap, self._lag_ns))
        self._values = held[:, ready:]
        self._t_ns = self._t_ns[ready:]
        self._flags = self._flags[ready:]
        self._after_gap = False

    def _judge(self, held: F64, clean: F64, flags: U16) -> None:
        """Replace spikes in ``clean``, the middle samples of the windows in ``held``."""
        patchy = is_patchy(np.isnan(held))
        windows = sliding(held, 2 * self._half + 1)
        # The neighbour before is the reference for turns: a spike of half a turn in the middle
        # itself would spread its neighbours over both ends of the circle.
        reference = windows[:, :, self._half - 1 : self._half]
        if patchy:
            reference = np.where(np.isnan(reference), first_number(windows), reference)
        relative = windows - reference
        wrap_rows(relative)
        off = relative[:, :, self._half].copy()
        relative.sort(axis=2)
        median, mad = (_median_mad_patchy if patchy else _median_mad)(relative)
        off -= median
        wrap_rows(off)
        spikes = np.abs(off) > np.maximum(mad * self._spread, self._floor)
        if spikes.any():
            repaired = reference[:, :, 0] + median
            np.copyto(clean, repaired, where=spikes)
            hit = spikes.any(axis=0)
            flags |= hit * np.uint16(Flag.DESPIKED)
            self.replaced += int(np.count_nonzero(hit))


def _median_mad(ordered: F64) -> tuple[F64, F64]:
    """Median and median absolute deviation of sorted windows, shape (8, n, 2k + 1).

    The k + 1 values nearest to the median lie together in the sorted window, so the deviation
    is found without sorting again.
    """
    k = ordered.shape[2] // 2
    median = ordered[:, :, k]
    mad = ordered[:, :, -1] - median
    for first in range(k + 1):
        farthest = median - ordered[:, :, first]
        np.maximum(farthest, ordered[:, :, first + k] - median, out=farthest)
        np.minimum(mad, farthest, out=mad)
    return median, mad


def _median_mad_patchy(ordered: F64) -> tuple[F64, F64]:
    """The same where windows hold NaN, sorted to the end, and are judged by the rest."""
    count = np.count_nonzero(~np.isnan(ordered), axis=2)
    median = _middle(ordered, count)
    deviations = np.abs(ordered - median[:, :, None])
    deviations.sort(axis=2)
    return median, _middle(deviations, count)


def _middle(ordered: F64, count: NDArray[np.intp]) -> F64:
    """Return the median of the first ``count`` of each sorted window, NaN for none."""
    low = np.maximum(count - 1, 0)[:, :, None] // 2
    high = count[:, :, None] // 2
    pair = np.take_along_axis(ordered, np.concatenate((low, high), axis=2), axis=2)
    middle: F64 = (pair[:, :, 0] + pair[:, :, 1]) * 0.5
    return middle
