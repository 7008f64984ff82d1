"""Levers in space and the rods between them: the simulator's own way to close a linkage.

Nothing here is a formula for a correction. A lever's end goes round its axis, a rod has a length,
and the swing at which both fit is found by Newton's method on the distance.
"""

from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import F64
from ingest.simulator.adjusting.errors import Stuck
from ingest.simulator.vectors import cross, turn_about

NEWTON_STEPS = 30
CLOSED_RAD = 1e-13
DEAD_CENTRE = 0.1
"""Least part of the lever's radius by which a swing must still move its end along the rod."""


@dataclass(frozen=True, slots=True)
class Lever:
    """An arm on an axis: pivot, unit axis and arm (pivot to end at no swing), shapes (1, 3)."""

    pivot_m: F64
    axis: F64
    arm_m: F64

    def end_m(self, swing_rad: float) -> F64:
        """Return where the end is, shape (1, 3)."""
        return self.pivot_m + turn_about(self.axis, np.array([swing_rad]), self.arm_m)

    def swing_to(self, far_m: F64, length_m: float, start_rad: float = 0.0) -> float:
        """Return the swing at which the end is ``length_m`` from a point, from the nearest side.

        Raises: ``Stuck`` where no swing is, or the lever stands in line with the rod.
        """
        swing = start_rad
        radius_m = float(np.linalg.norm(self.arm_m))
        for _ in range(NEWTON_STEPS):
            end = self.end_m(swing)
            rod = end - far_m
            now_m = float(np.linalg.norm(rod))
            slope = float((rod * cross(self.axis, end - self.pivot_m)).sum()) / now_m
            if abs(slope) < DEAD_CENTRE * radius_m:
                raise Stuck("the lever stands in line with its rod")
            change = (length_m - now_m) / slope
            swing += change
            if abs(change) < CLOSED_RAD:
                return swing
        raise Stuck("the linkage does not close at that length")


def distance_m(one_m: F64, other_m: F64) -> float:
    """Return how far two points are apart."""
    return float(np.linalg.norm(one_m - other_m))
