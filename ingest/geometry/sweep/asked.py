"""What a fit of a sweep is asked for, and whose wheel it refuses."""

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.readings import Sweep, SweepLimits, SweepNoise, SweepTerms


@dataclass(frozen=True, slots=True)
class Asked:
    """Noise of one reading (None: from the residuals), common terms, limits, and whether the roll
    of a beam axle is fitted."""

    noise: SweepNoise | None
    terms: SweepTerms
    limits: SweepLimits
    roll: bool

    @property
    def stated(self) -> bool:
        """Whether the noise is known beforehand."""
        return self.noise is not None


@contextlib.contextmanager
def naming(sweep: Sweep, sweeps: Sequence[Sweep]) -> Iterator[None]:
    """Say which wheel is refused, where there are two."""
    try:
        yield
    except MeasurementRefused as refused:
        if len(sweeps) < 2:
            raise
        text = f"{sweep.side} wheel: {refused.text}"
        raise MeasurementRefused(
            refused.code, text, figure=refused.figure, limit=refused.limit
        ) from refused
