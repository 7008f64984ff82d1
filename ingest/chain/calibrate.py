"""The calibration record applied to each sample."""

import numpy as np

from calibration.sensors import Correction
from ingest.core.blocks import F64, Flag, SampleBlock
from ingest.core.channels import ROW, Channel

_ROWS = {channel.value: row for channel, row in ROW.items()}
_TEMPERATURE = ROW[Channel.TEMPERATURE]


class Calibrate:
    """Corrects every sample, or flags it as uncalibrated where there is no record.

    A head may state its temperature less often than its angles: the last one stands until
    the next, for the correction only; the channel itself is not filled.
    """

    lag_ns = 0

    def __init__(self, correction: Correction | None) -> None:
        self.correction = correction
        self.reset()

    def reset(self) -> None:
        """Forget the temperature."""
        self._degc = np.nan

    def feed(self, block: SampleBlock) -> list[SampleBlock]:
        """Return the block, corrected."""
        if block.after_gap:
            self.reset()
        correction = self.correction
        flags = block.flags
        if correction is None or not correction.calibrated:
            flags = flags | np.uint16(Flag.UNCALIBRATED)
            values = block.values
        else:
            values = self._correct(correction, block.values)
        return [SampleBlock(block.t_ns, values, flags, block.after_gap, block.lag_ns)]

    def _correct(self, correction: Correction, values: F64) -> F64:
        degc = values[_TEMPERATURE]
        missing = np.isnan(degc)
        if missing.any() and not (missing.all() and np.isnan(self._degc)):
            values = values.copy()
            values[_TEMPERATURE] = self._carried(degc)
        if not missing[-1]:
            self._degc = float(degc[-1])
        else:
            self._degc = float(values[_TEMPERATURE, -1])
        # A matrix product rounds one column unlike many: a lone sample goes in twice, so that
        # the cut of the stream does not show.
        lone = values.shape[1] == 1
        corrected = correction.apply(values.repeat(2, axis=1) if lone else values, _ROWS)
        if lone:
            corrected = np.ascontiguousarray(corrected[:, :1])
        corrected[_TEMPERATURE, missing] = np.nan
        return corrected

    def _carried(self, degc: F64) -> F64:
        """Fill each missing temperature with the last one before it."""
        seen = np.concatenate(([self._degc], degc))
        last = np.maximum.accumulate(np.where(np.isnan(seen), 0, np.arange(len(seen))))
        carried: F64 = seen[last][1:]
        return carried
