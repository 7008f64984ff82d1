"""The sample block: what flows between the stages of the filter chain."""

from dataclasses import dataclass
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

from ingest.core.channels import ROW, Channel
from ingest.core.ids import BootId

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
U16 = NDArray[np.uint16]
I32 = NDArray[np.int32]
U8 = NDArray[np.uint8]

NO_VALUE = -(1 << 23)
"""The code that says "no value" (the most negative 24-bit number)."""


@dataclass(frozen=True, slots=True)
class RawRun:
    """Samples of one head as they came off the wire, in order of arrival.

    ``seq`` (u16, wraps) and ``t_us`` (u32, wraps) have shape (n,) and dtype int64;
    ``status`` is the head's status byte, shape (n,); ``codes`` has one row per entry of
    ``CHANNELS``, shape (8, n), in 1e-4 deg (temperature 1e-4 degC), ``NO_VALUE`` where there
    is none; ``arrived_ns`` is the host time at which the sample's last byte was read.
    Nothing is checked for order here: that is the chain's first stage.
    """

    boot: BootId
    seq: I64
    t_us: I64
    status: U8
    codes: I32
    arrived_ns: I64

    def __len__(self) -> int:
        return int(self.seq.shape[0])


class Flag(IntFlag):
    """What is known about one sample, beside its values (bits of ``SampleBlock.flags``)."""

    NONE = 0
    SWIVEL_LOCKED = 1
    """The head cannot swing on its shaft (from the head's status byte)."""
    SENSOR_FAULT = 2
    """The head itself distrusts the sample (from its status byte)."""
    DESPIKED = 4
    """At least one channel was replaced by the median of its neighbours."""
    OUT_OF_RANGE = 8
    """At least one channel left the range that the head states; its value is NaN."""
    UNCALIBRATED = 16
    """No calibration record was applied."""
    STILL = 32
    """The head and its wheel are at rest (set by the settle stage)."""
    MOVING = 64
    """The head or its wheel moves (set by the settle stage). Neither of the two: not known yet,
    as after a gap."""


@dataclass(frozen=True, slots=True)
class SampleBlock:
    """A run of consecutive samples of one head with no gap inside.

    ``values`` has one row per entry of ``CHANNELS``, shape (8, n), radians (temperature in
    degrees Celsius); NaN where the head has no such channel or no value. ``t_ns`` is host
    monotonic time, shape (n,), strictly increasing. ``after_gap`` says that something is
    missing (or the head restarted) between the block before and this one: every stage
    resets before it takes the block. ``lag_ns`` is the known delay of the filters so far:
    a sample at ``t_ns`` describes the head at ``t_ns``, but leaves ``lag_ns`` later.
    """

    t_ns: I64
    values: F64
    flags: U16
    after_gap: bool = False
    lag_ns: int = 0

    def __len__(self) -> int:
        return int(self.t_ns.shape[0])

    def channel(self, channel: Channel) -> F64:
        """Return one channel, shape (n,)."""
        row: F64 = self.values[ROW[channel]]
        return row
