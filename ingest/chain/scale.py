"""Third stage: codes to radians, what a head says of its sample to flags, range check."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ingest.chain.angles import CIRCULAR_ROWS
from ingest.chain.clock import TimedRun
from ingest.core.blocks import F64, I32, NO_VALUE, Flag, SampleBlock
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.counters import LinkCounters
from ingest.core.units import WIRE_DEGC, WIRE_RAD

HALF_TURN = 1_800_000
"""In codes."""

Ranges = Mapping[Channel, tuple[int, int]]
"""Lowest and highest code that a head states for a channel, both included."""

_UNITS = np.array([[WIRE_DEGC if c is Channel.TEMPERATURE else WIRE_RAD] for c in CHANNELS])
_STATUS_FLAGS = np.uint16(Flag.SWIVEL_LOCKED | Flag.SENSOR_FAULT)


class Scale:
    """Turns codes into values. A value that is none, or out of its range, becomes NaN.

    Samples with a value out of range are counted.
    """

    def __init__(self, ranges: Ranges, counters: LinkCounters) -> None:
        self._counters = counters
        limits = np.empty((2, len(CHANNELS), 1), np.int32)
        limits[0], limits[1] = NO_VALUE + 1, -NO_VALUE - 1
        for channel, (low, high) in ranges.items():
            limits[:, ROW[channel], 0] = max(low, NO_VALUE + 1), min(high, -NO_VALUE - 1)
        self._low, self._high = limits

    def feed(self, run: TimedRun) -> SampleBlock:
        """Return the run as a block of values and flags."""
        codes = run.codes
        flags = run.status & _STATUS_FLAGS
        outside = self._outside(codes)
        if outside[CIRCULAR_ROWS].any():
            codes = _wrapped(codes, outside)
            outside = self._outside(codes)
        values: F64 = codes * _UNITS
        if outside.any():
            values[outside] = np.nan
            strayed = (outside & (run.codes != NO_VALUE)).any(axis=0)
            self._counters.strayed += int(np.count_nonzero(strayed))
            np.bitwise_or(flags, np.uint16(Flag.OUT_OF_RANGE), out=flags, where=strayed)
        return SampleBlock(run.t_ns, values, flags, run.after_gap)

    def _outside(self, codes: I32) -> NDArray[np.bool_]:
        return (codes < self._low) | (codes > self._high)


def _wrapped(codes: I32, outside: NDArray[np.bool_]) -> I32:
    """Return codes with those of circular channels that are ``outside`` taken modulo a full turn
    (SPEC.md, section 5.2, note 1)."""
    wrapped = codes.copy()
    turning = wrapped[CIRCULAR_ROWS]
    where = outside[CIRCULAR_ROWS] & (turning != NO_VALUE)
    turning[where] = (turning[where] + HALF_TURN) % (2 * HALF_TURN) - HALF_TURN
    return wrapped
