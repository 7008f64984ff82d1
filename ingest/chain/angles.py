"""Arrays with one row per channel: turns, missing values, limits per kind of channel."""

import math

import numpy as np
from numpy.typing import NDArray

from ingest.core.blocks import F64
from ingest.core.channels import CHANNELS, CIRCULAR, Channel

TURN_RAD = 2.0 * math.pi

_circular = [row for row, channel in enumerate(CHANNELS) if channel in CIRCULAR]
CIRCULAR_ROWS = slice(_circular[0], _circular[-1] + 1)
"""Rows of the channels that wrap; a slice, so that taking them copies nothing."""
assert len(_circular) == CIRCULAR_ROWS.stop - CIRCULAR_ROWS.start, "circular rows lie together"

_TILT = frozenset({Channel.INCL_X, Channel.INCL_Y, Channel.INCL_Z})
_AZIMUTH = frozenset({Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK})


def per_row(*, tilt: float, azimuth: float, turn: float, temperature: float) -> F64:
    """Return one number per channel by its kind, shape (8, 1)."""

    def pick(channel: Channel) -> float:
        if channel is Channel.TEMPERATURE:
            return temperature
        if channel in _TILT:
            return tilt
        return azimuth if channel in _AZIMUTH else turn

    return np.array([[pick(channel)] for channel in CHANNELS])


def wrap_rows(differences: F64) -> None:
    """Take whole turns out of the circular rows in place, to -pi..pi. First axis: channels.

    Angles within that range stay as they are to the last bit.
    """
    rows = differences[CIRCULAR_ROWS]
    turns = rows / TURN_RAD
    np.rint(turns, out=turns)
    turns *= TURN_RAD
    rows -= turns


def is_patchy(missing: NDArray[np.bool_]) -> bool:
    """Return whether a channel has a value in some columns and none in others.

    Heads without a channel have none in any; only patchy channels need counting.
    """
    return bool((missing != missing[:, :1]).any())


def first_number(windows: F64) -> F64:
    """Return the first value along the last axis that is a number, NaN where none is."""
    at = (~np.isnan(windows)).argmax(axis=-1)
    found: F64 = np.take_along_axis(windows, at[..., None], axis=-1)
    return found


def sliding(values: F64, width: int) -> F64:
    """Return the windows of ``width`` columns, shape (8, n - width + 1, width), as a view.

    ``values`` has shape (8, n) and is C-contiguous. (numpy's own function does the same with
    checks that cost more than the work on a block of five samples.)
    """
    rows, columns = values.shape
    along, step = values.strides
    shape = (rows, columns - width + 1, width)
    return np.ndarray(shape, np.float64, buffer=values, strides=(along, step, step))
