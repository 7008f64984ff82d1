"""One wheel's part in a steering sweep: what was collected of it, and what tells its steering."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.measured import Measured
from ingest.core.channels import ROW, Channel
from ingest.core.frames import Side
from ingest.geometry.sweep.guidance import SweepGuide
from ingest.geometry.sweep.guided import SweepReading, SweepState
from ingest.service.abreast import Sample
from ingest.service.bayhead import BayHead
from ingest.service.steercross import CrossSteer
from ingest.service.steersight import SightSteer, SteerBy
from ingest.service.sweptwheel import SweptWheel

MOST_KEPT = 12_000
"""Readings of a steering that are kept: twenty minutes of ten a second; the oldest go first."""


def _kept() -> deque[tuple[int, float]]:
    return deque(maxlen=MOST_KEPT)


@dataclass(slots=True)
class SweepPart:
    """How a wheel and its head stood at the begin, and what has been read of it since.

    ``by`` tells its steering, ``second`` what else does; ``toe`` and ``camber`` are its shaft's and
    its wheel's straight ahead, rad.
    """

    head: BayHead
    mounting: int
    guide: SweepGuide
    by: SteerBy
    second: SteerBy | None
    locked: bool
    toe: Measured
    camber: Measured
    degc: float
    steer: deque[tuple[int, float]] = field(default_factory=_kept)
    beside: deque[tuple[int, float]] = field(default_factory=_kept)
    state: SweepState | None = None
    said: tuple[object, ...] = ()
    said_ns: int = 0

    def take(self, sample: Sample) -> None:
        """Give a sample to the guide, the steering told from straight ahead."""
        t_ns, values = sample.t_ns, sample.values
        turned = self.by.read(values, sample.across)
        seen = math.isfinite(turned) and not sample.doubtful
        if seen:
            self.steer.append((t_ns, turned))
        beside = math.nan if self.second is None else self.second.read(values, sample.across)
        if seen and math.isfinite(beside):
            self.beside.append((t_ns, beside))
        lean, tilt = (float(values[ROW[c]]) for c in (Channel.INCL_Y, Channel.INCL_X))
        told = tilt if self.locked else None
        self.state = self.guide.feed(SweepReading(t_ns, turned if seen else None, lean, told))

    def swept(self, side: Side) -> SweptWheel:
        """Return what was collected."""
        return self._swept(side, self.by, self.steer)

    def swept_beside(self, side: Side) -> SweptWheel | None:
        """Return the same with what else told the steering, None where nothing did."""
        return None if self.second is None else self._swept(side, self.second, self.beside)

    def _swept(self, side: Side, by: SteerBy, read: Sequence[tuple[int, float]]) -> SweptWheel:
        t_ns = np.array([at for at, _ in read], dtype=np.int64)
        steer = np.array([angle for _, angle in read])
        rows, known = self.guide.rows, self.head.instrument
        return SweptWheel(side, known, rows, t_ns, steer, self.toe, self.camber, self.degc, by)

    @property
    def sat(self) -> list[tuple[BayHead, int]]:
        """Heads that must sit as they sat at the begin, with their mountings then."""
        own = [(self.head, self.mounting)]
        if isinstance(self.by, SightSteer):
            own.append((self.by.target.head, self.by.target.mounting))
        return own

    @property
    def by_both(self) -> bool:
        """Whether something needs what the other head reads at the same moment."""
        return any(isinstance(each, CrossSteer) for each in (self.by, self.second))

    @property
    def straight(self) -> tuple[Channel, float]:
        """What tells the steering, and what it reads straight ahead."""
        return self.by.channel, self.by.straight_rad
