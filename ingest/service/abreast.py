"""What both heads of a swept axle read, on one time base: the host's clock.

The heads sample when they like and their samples come in pieces. A head whose reading needs the
other's waits until that has read beyond it, and is given what lies between two samples.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from ingest.core.blocks import F64, Flag, SampleBlock
from ingest.core.frames import Side
from ingest.core.units import NS

MOST_WAITING = 1200
"""A minute or two; where the other head is silent for longer, the oldest go first."""
LONGEST_NS = NS // 2
"""What lies between samples further apart is not known."""

DISTRUSTED = np.uint16(Flag.SENSOR_FAULT | Flag.OUT_OF_RANGE)


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample, all channels; ``across`` what the other head read then, None where unknown."""

    t_ns: int
    values: F64
    doubtful: bool
    across: F64 | None = None


@dataclass(slots=True)
class _Stream:
    waiting: deque[Sample] = field(default_factory=lambda: deque(maxlen=MOST_WAITING))
    recent: deque[Sample] = field(default_factory=lambda: deque(maxlen=MOST_WAITING))


class Abreast:
    """Hands out the samples of both sides in order; those of ``pairing`` with the other's."""

    def __init__(self, pairing: frozenset[Side]) -> None:
        self._pairing = pairing
        self._streams = {side: _Stream() for side in Side}

    def take(self, side: Side, block: SampleBlock) -> None:
        """Take what a head's chain gave."""
        doubtful = (block.flags & DISTRUSTED) != 0
        stream = self._streams[side]
        for i, t_ns in enumerate(block.t_ns.tolist()):
            sample = Sample(t_ns, block.values[:, i], bool(doubtful[i]))
            stream.waiting.append(sample)
            if side.other in self._pairing:
                stream.recent.append(sample)

    def ready(self, side: Side) -> Iterator[Sample]:
        """Yield the samples of a side that need wait no longer."""
        waiting, beside = self._streams[side].waiting, self._streams[side.other].recent
        if side not in self._pairing:
            while waiting:
                yield waiting.popleft()
            return
        while waiting and beside and waiting[0].t_ns <= beside[-1].t_ns:
            own = waiting.popleft()
            while len(beside) > 1 and beside[1].t_ns <= own.t_ns:
                beside.popleft()
            yield Sample(own.t_ns, own.values, own.doubtful, _between(beside, own.t_ns))


def _between(beside: deque[Sample], t_ns: int) -> F64 | None:
    """Return what was read at a moment, between the first two samples or at the first."""
    first = beside[0]
    if first.t_ns == t_ns:
        return None if first.doubtful else first.values
    if len(beside) < 2 or first.t_ns > t_ns:
        return None
    last = beside[1]
    long_ns = last.t_ns - first.t_ns
    if long_ns > LONGEST_NS or first.doubtful or last.doubtful:
        return None
    share = (t_ns - first.t_ns) / long_ns
    return first.values + share * (last.values - first.values)
