"""What is followed while somebody turns an adjuster: the newest samples, moving or not."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from calibration.measured import Measured
from ingest.chain.rest import RestReading
from ingest.core.blocks import Flag, SampleBlock
from ingest.geometry.network.correlated import Told


class Unmade(Mapping[str, Measured]):
    """Determined results by topic; the parts of one are made when it is asked for.

    Of all that a network tells ten times a second, one value is looked at.
    """

    def __init__(self, told: Mapping[str, Told]) -> None:
        self._told = told

    def __getitem__(self, topic: str) -> Measured:
        measured = self._told[topic].measured
        if measured is None:
            raise KeyError(topic)
        return measured

    def __iter__(self) -> Iterator[str]:
        return iter(self._told)

    def __len__(self) -> int:
        return len(self._told)


@dataclass(frozen=True, slots=True)
class Followed:
    """What a network tells at this moment. ``told``: results by topic below the bay, rad and m.

    ``moving``: some wheel of the axle is not at rest. ``lag_ms``: known delay of the filters.
    ``t_ns``: the time of the newest value that it stands on.
    """

    told: Mapping[str, Measured]
    moving: bool
    lag_ms: float
    t_ns: int


def newest_of(block: SampleBlock) -> RestReading:
    """Return the last sample of a block as a reading of its own.

    Its spread is not known from one sample: the noise of the head's calibration stands for it.
    """
    values = block.values[:, -1].copy()
    counts = np.isfinite(values).astype(np.int64)
    flags = Flag(int(block.flags[-1]))
    return RestReading(
        int(block.t_ns[-1]), values, np.full(len(values), np.nan), 1, counts, 0.0, flags
    )
