"""What goes wrong between a sensor and the host, on request and from a seed."""

from dataclasses import dataclass, field

import numpy as np

from ingest.core.blocks import F64
from ingest.core.channels import ROW, Channel
from ingest.core.units import DEG

BOOT_TEXT = b"\r\nrst:0x1 (POWERON)\r\nclock 64000000\r\nhead firmware starting\r\n"
"""What many boards print by themselves before the firmware has the port."""

SPIKE_DEG = (1.0, 20.0)


@dataclass(frozen=True, slots=True)
class FaultPlan:
    """How often things go wrong: shares of frames and of samples. The default is never.

    ``boot_text``: plain text before the first frame after each start. ``reset_on_open``: the
    board starts anew whenever somebody opens its port.
    """

    lost: float = 0.0
    damaged: float = 0.0
    duplicated: float = 0.0
    spikes: float = 0.0
    boot_text: bool = False
    reset_on_open: bool = False

    def __post_init__(self) -> None:
        for name in ("lost", "damaged", "duplicated", "spikes"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise ValueError(f"{name} is a share between 0 and 1")


MILD = FaultPlan(lost=5e-5, damaged=5e-5, duplicated=5e-5, spikes=1e-4, boot_text=True)
"""An ordinary day with long cables: a fault every minute or so on each head, at 100 Hz."""


@dataclass(slots=True)
class FaultCounts:
    """What was done so far, to hold a receiver's counters against."""

    lost: int = 0
    damaged: int = 0
    duplicated: int = 0
    spikes: int = 0
    resets: int = 0
    stalls: int = 0


@dataclass(slots=True)
class FaultInjector:
    """Does to one head's stream what the plan says."""

    plan: FaultPlan
    random: np.random.Generator
    counts: FaultCounts = field(default_factory=FaultCounts)

    def spiked(self, raw: F64) -> F64:
        """Put spikes into raw readings, shape (8, n): one channel of a sample off by degrees.

        A channel without a value, and the temperature, is left alone.
        """
        if self.plan.spikes <= 0.0:
            return raw
        spiked = raw.copy()
        angles = [row for channel, row in ROW.items() if channel is not Channel.TEMPERATURE]
        for column in np.flatnonzero(self.random.random(raw.shape[1]) < self.plan.spikes):
            row = self.random.choice(angles)
            size = self.random.choice([-1.0, 1.0]) * self.random.uniform(*SPIKE_DEG) * DEG
            if np.isfinite(raw[row, column]):
                spiked[row, column] += size
                self.counts.spikes += 1
        return spiked

    def passed(self, frame: bytes) -> bytes:
        """Return what comes out of the cable for one frame: it, nothing, it damaged, it twice."""
        plan = self.plan
        if plan.lost <= 0.0 and plan.damaged <= 0.0 and plan.duplicated <= 0.0:
            return frame
        chance = self.random.random(3)
        if chance[0] < plan.lost:
            self.counts.lost += 1
            return b""
        if chance[1] < plan.damaged:
            self.counts.damaged += 1
            return self._damaged(frame)
        if chance[2] < plan.duplicated:
            self.counts.duplicated += 1
            return frame + frame
        return frame

    def _damaged(self, frame: bytes) -> bytes:
        """Flip one bit, anywhere in the frame (its delimiter included)."""
        bit = int(self.random.integers(8 * len(frame)))
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        return bytes(damaged)


def no_faults() -> FaultInjector:
    """Return an injector that leaves everything as it is."""
    return FaultInjector(FaultPlan(), np.random.default_rng(0))
