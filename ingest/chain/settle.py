"""Settle detection: is the head, and the wheel under it, at rest?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.chain.angles import first_number, is_patchy, per_row, sliding, wrap_rows
from ingest.chain.creep import Creep
from ingest.chain.stage import require
from ingest.core.blocks import F64, U16, Flag, SampleBlock
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.units import DEG

_ELEVATIONS = [ROW[c] for c in (Channel.INCL_X, Channel.INCL_Y, Channel.INCL_Z)]


@dataclass(frozen=True, slots=True)
class SettleSettings:
    """How little the angles may spread (largest less smallest) for how long.

    Normal noise spreads over eight values by more than 5.3 of its standard deviations once in
    two hundred; so each spread should be at least six of the decimated stream's.
    """

    window_s: float = 0.8
    tilt_deg: float = 0.05
    azimuth_deg: float = 0.05
    turn_deg: float = 0.15
    """For rotation and steer."""
    creep_share: float = 0.1
    """What of these a slow movement may come to within a rest, however surely it is seen."""

    def __post_init__(self) -> None:
        require(0.1 <= self.window_s <= 60.0, "window_s", self.window_s, "0.1 to 60 s")
        for name in ("tilt_deg", "azimuth_deg", "turn_deg"):
            require(getattr(self, name) > 0.0, name, getattr(self, name), "above 0 deg")
        require(self.creep_share > 0.0, "creep_share", self.creep_share, "above 0")


class Settle:
    """Flags a sample STILL when no angle has spread too far over the window that it ends, and
    MOVING when one has; neither while the window is not full.

    A sample that ends a creep is MOVING as well, and all before it is forgotten: what is at rest
    after it is another rest. Creep is looked for once in each window's length.

    Channels without values have no say; a head with none at all is never still.
    """

    lag_ns = 0

    def __init__(self, settings: SettleSettings, output_hz: float) -> None:
        self._width = max(2, round(settings.window_s * output_hz))
        self._limits = per_row(
            tilt=settings.tilt_deg * DEG,
            azimuth=settings.azimuth_deg * DEG,
            turn=settings.turn_deg * DEG,
            temperature=np.inf,
        )
        self._watched = np.isfinite(self._limits)
        self._creep = Creep(settings.creep_share * self._limits, max(8, 2 * self._width))
        self.reset()

    def reset(self) -> None:
        """Forget every sample."""
        self._held: F64 = np.empty((len(CHANNELS), 0))
        self._rested = 0
        """How many of the newest samples are of one rest."""
        self._lacking = self._width
        """Samples until creep is looked for."""

    def feed(self, block: SampleBlock) -> list[SampleBlock]:
        """Return the block with its STILL flags."""
        if block.after_gap:
            self.reset()
        values = block.values.copy()
        # An inclinometer's noise is that of the sine: near the vertical the angle's has no bound.
        values[_ELEVATIONS] = np.sin(values[_ELEVATIONS])
        flags = block.flags & ~np.uint16(Flag.STILL | Flag.MOVING)
        at = 0
        while at < len(flags):
            end = min(len(flags), at + self._lacking)
            self._judge(values[:, at:end], flags[at:end])
            at = end
        return [SampleBlock(block.t_ns, block.values, flags, block.after_gap, block.lag_ns)]

    def _judge(self, values: F64, flags: U16) -> None:
        """Flag samples up to the one at which creep is looked for, or fewer."""
        count = len(flags)
        held = np.concatenate((self._held, values), axis=1)
        recent = np.ascontiguousarray(held[:, -(count + self._width - 1) :])
        self._held = held[:, -self._creep.longest :]
        if recent.shape[1] >= self._width:
            still = self._still(recent)
            found = np.where(still, np.uint16(Flag.STILL), np.uint16(Flag.MOVING))
            flags[count - len(still) :] |= found
        self._rested = _rested(self._rested, flags)
        self._lacking -= count
        if self._lacking:
            return
        self._lacking = self._width
        if self._rested and self._creep.found(self._held[:, -self._rested :]):
            flags[-1] ^= np.uint16(Flag.STILL | Flag.MOVING)
            self.reset()

    def _still(self, held: F64) -> NDArray[np.bool_]:
        windows = sliding(held, self._width)
        reference = first_number(windows) if is_patchy(np.isnan(held)) else windows[:, :, :1]
        relative = windows - reference
        wrap_rows(relative)
        spread = np.fmax.reduce(relative, axis=2) - np.fmin.reduce(relative, axis=2)
        moves = spread > self._limits
        rests = (spread <= self._limits) & self._watched
        still: NDArray[np.bool_] = rests.any(axis=0) & ~moves.any(axis=0)
        return still


def _rested(before: int, flags: U16) -> int:
    """Return how many of the newest samples are still without a break; ``before`` were so far."""
    moved = np.flatnonzero((flags & np.uint16(Flag.STILL)) == 0)
    return len(flags) - 1 - int(moved[-1]) if len(moved) else before + len(flags)
