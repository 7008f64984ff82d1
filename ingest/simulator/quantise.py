"""What a head's converters make of its readings: codes of the wire, and their ranges."""

import numpy as np

from ingest.core.blocks import F64, I32, NO_VALUE
from ingest.core.channels import ANGLES, CHANNELS, CIRCULAR, ROW, Channel
from ingest.core.units import WIRE_DEGC, WIRE_RAD

HALF_TURN = 1_800_000
"""Half a turn in codes."""

RANGES = {
    **dict.fromkeys(CIRCULAR, (-HALF_TURN, HALF_TURN - 1)),
    Channel.INCL_X: (-HALF_TURN // 2, HALF_TURN // 2),
    Channel.INCL_Y: (-HALF_TURN // 2, HALF_TURN // 2),
    Channel.INCL_Z: (-HALF_TURN // 2, HALF_TURN // 2),
    Channel.TEMPERATURE: (-400_000, 850_000),
}
"""What each channel can read, in codes, both ends included."""


def codes_of(raw: F64) -> I32:
    """Return readings, shape (8, n), as codes; circular ones from minus half a turn up."""
    units = np.array([[WIRE_RAD if c in ANGLES else WIRE_DEGC] for c in CHANNELS])
    codes = np.rint(np.nan_to_num(raw, nan=0.0) / units).astype(np.int64)
    circular = [ROW[channel] for channel in CIRCULAR]
    codes[circular] = (codes[circular] + HALF_TURN) % (2 * HALF_TURN) - HALF_TURN
    codes[np.isnan(raw)] = NO_VALUE
    narrow: I32 = codes.astype(np.int32)
    return narrow
