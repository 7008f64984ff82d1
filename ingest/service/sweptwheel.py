"""One wheel as it was swept: what was read of it, and how its steering turns it."""

import math
from dataclasses import dataclass, replace

import numpy as np

from calibration.measured import Measured
from ingest.core.blocks import F64, I64
from ingest.core.frames import Side
from ingest.core.units import DEG, NS
from ingest.geometry.sweep.guided import SweepReading
from ingest.geometry.sweep.motion import heading_change
from ingest.geometry.sweep.readings import Sweep
from ingest.geometry.sweep.steering import Steering
from ingest.service.instrument import Instrument
from ingest.service.steersight import PlateSteer, SteerBy, scale_of

PLATE = PlateSteer()
LOST_NS = int(0.5 * NS)
"""Readings of a steering further apart than this are those before and after it was lost."""
NEVER_NS = -(2**62)
NEAR_RAD = 0.5 * DEG
"""Where it was lost so near to the furthest that was seen, nobody knows how far it went."""


@dataclass(frozen=True, slots=True)
class SweptWheel:
    """One wheel as it was swept.

    ``rows`` were kept; ``t_ns`` and ``steer_rad`` (m,) are the steering all along, told ``by`` a
    plate or a sightline. ``toe`` is that of the shaft straight ahead, ``camber`` that of the wheel
    as it stood there.
    """

    side: Side
    instrument: Instrument
    rows: tuple[SweepReading, ...]
    t_ns: I64
    steer_rad: F64
    toe: Measured
    camber: Measured
    degc: float
    by: SteerBy = PLATE

    def steer_at(self, t_ns: I64) -> F64:
        """Return the steering at other times, NaN where it was not seen."""
        at = np.interp(t_ns.astype(np.float64), self.t_ns.astype(np.float64), self.steer_rad)
        known = np.concatenate(([NEVER_NS], self.t_ns, [-NEVER_NS]))
        after = np.searchsorted(known, t_ns)
        seen = (known[after] == t_ns) | (known[after] - known[after - 1] <= LOST_NS)
        return np.where(seen, at, np.nan)

    def reached_rad(self, side: Side) -> float:
        """Return how far it was steered to a side; NaN where it was lost before it came back."""
        there = side.sign * self.steer_rad
        far = max(0.0, float(there.max(initial=0.0)))
        lost = np.flatnonzero(np.diff(self.t_ns) > LOST_NS)
        edges = np.concatenate((there[lost], there[lost + 1]))
        return math.nan if np.any((edges > 0.0) & (edges > far - NEAR_RAD)) else far

    @property
    def scale(self) -> float:
        """Standard uncertainty of the steering's scale, over what was reached."""
        far = max(float(np.abs(self.steer_rad).max(initial=0.0)), DEG)
        return scale_of(self.by, self.instrument, far)

    def seen_with(self, other: "SweptWheel") -> "SweptWheel":
        """Return what was read while the other wheel was seen, too: both tell the roll."""
        if not (self.rows and len(other.t_ns)):
            return self
        across = other.steer_at(np.array([row.time_ns for row in self.rows]))
        seen = zip(self.rows, np.isfinite(across), strict=True)
        return replace(self, rows=tuple(row for row, ok in seen if ok))

    def headings(self, steering: Steering, steer_rad: F64) -> F64:
        """Return how far it has turned, seen from above, when its steering was read as that."""
        if not self.by.by_plate:
            return steer_rad
        none = np.zeros(0)
        return heading_change(Sweep(self.side, none, none), steering.unknowns, steer_rad)
