"""Sample bodies to arrays: 24-bit codes widened, the two sets of a sample joined."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.core.blocks import I32, NO_VALUE
from ingest.core.channels import CHANNELS
from ingest.wire.codes import MessageType
from ingest.wire.sample import CODES_PER_SET

FRAME = np.dtype(
    [
        ("type", "u1"),
        ("status", "u1"),
        ("seq", "<u2"),
        ("t_us", "<u4"),
        ("codes", "u1", (CODES_PER_SET, 3)),
    ]
)
"""A sample body as it stands on the wire."""

Frames = NDArray[np.void]
"""Sample bodies one after another, dtype ``FRAME``, shape (n,)."""


@dataclass(frozen=True, slots=True)
class Merged:
    """Samples made of sets: where each began, which frame completed it, and its codes."""

    first: NDArray[np.intp]
    """Shape (n,): row of the frame with set 0."""
    last: NDArray[np.intp]
    """Shape (n,): row of the frame that completed the sample."""
    codes: I32
    """Shape (8, n)."""
    used: int
    """Frames that went into samples; the rest found no set 0 to belong to."""


def merge(frames: Frames, *, two_sets: bool) -> Merged:
    """Join each set 0 with the set 1 that follows it at once with the same seq and time.

    A set 0 without its set 1 is a sample without those channels; a set 1 without its set 0
    is no sample. ``frames`` has dtype ``FRAME`` and holds sets 0 and 1 only.
    """
    is_first = frames["type"] == MessageType.SAMPLE_0
    first = np.flatnonzero(is_first)
    codes = np.full((len(CHANNELS), first.size), NO_VALUE, np.int32)
    wide = _widen(frames["codes"])
    codes[:CODES_PER_SET] = wide[:, first]
    if not two_sets:
        return Merged(first, first, codes, first.size)
    follows = np.zeros(len(frames), bool)
    follows[:-1] = (
        ~is_first[1:]
        & (frames["seq"][1:] == frames["seq"][:-1])
        & (frames["t_us"][1:] == frames["t_us"][:-1])
    )
    paired = follows[first]
    last = first + paired
    codes[CODES_PER_SET:, paired] = wide[:, last[paired]]
    return Merged(first, last, codes, first.size + int(np.count_nonzero(paired)))


def _widen(codes: NDArray[np.uint8]) -> I32:
    """Turn little-endian 24-bit numbers, shape (n, 4, 3), into int32, shape (4, n)."""
    wide = np.zeros((*codes.shape[:2], 4), np.uint8)
    wide[:, :, 1:] = codes
    shifted: I32 = wide.view("<i4")[:, :, 0] >> 8
    return shifted.T
