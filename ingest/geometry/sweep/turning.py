"""Turning angles of a steer axle: locks, toe-out on turns, and what pure rolling would ask for.

All steering is the change from straight ahead, left positive, as the plates or heads read it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, Source
from ingest.core.frames import Side
from ingest.geometry.sweep.readings import SAME_POSITION_RAD

F64 = NDArray[np.float64]

INNER_RAD = math.radians(20.0)
"""Where toe-out on turns is told: 20 deg of the inner wheel (common practice)."""


@dataclass(frozen=True, slots=True)
class SteeredAxle:
    """Both wheels read at the same positions of the steering, arrays of shape (n,), rad.

    ``u_rad`` is the standard uncertainty of one reading, None where nobody stated it.
    """

    left_rad: F64
    right_rad: F64
    u_rad: float | None = None

    def __post_init__(self) -> None:
        if self.left_rad.shape != self.right_rad.shape or self.left_rad.ndim != 1:
            raise ValueError("both wheels are read at the same positions")

    def of(self, side: Side) -> F64:
        """Return the steering of one wheel."""
        return self.left_rad if side is Side.LEFT else self.right_rad


@dataclass(frozen=True, slots=True)
class ToeOut:
    """Toe-out in a turn: inner wheel less outer, rad. ``inner`` is the side turned to.

    ``outer_rad`` at exactly ``inner_rad`` of the inner wheel, between the positions next to it;
    ``toe_out`` is None where no reading's uncertainty was stated.
    """

    inner: Side
    inner_rad: float
    outer_rad: float
    toe_out: Measured | None

    @property
    def toe_out_rad(self) -> float:
        """Inner wheel less outer."""
        return self.inner_rad - self.outer_rad


def furthest(steer_rad: F64) -> tuple[float, float]:
    """Return the turning angles that were reached to the left and to the right, both positive."""
    return max(0.0, float(steer_rad.max())), max(0.0, -float(steer_rad.min()))


def toe_out_on_turns(axle: SteeredAxle, inner: Side, inner_rad: float = INNER_RAD) -> ToeOut | None:
    """Return the toe-out with the inner wheel at an angle; None where it was not steered so far.

    Straight line between the nearest position below and above. Over the positions of a sweep
    (5 deg apart at the most) the curve leaves it by less than 0.05 deg.
    """
    if not len(axle.left_rad):
        return None
    to_inner, to_outer = inner.sign * axle.of(inner), inner.sign * axle.of(inner.other)
    below, above = to_inner <= inner_rad, to_inner >= inner_rad
    if not above.any():
        # A reading that misses the angle by its own scatter still tells it.
        near = int(np.argmax(to_inner))
        if inner_rad - to_inner[near] > SAME_POSITION_RAD or to_inner[near] <= 0.0:
            return None
        return _toe_out(axle, inner, inner_rad, float(to_outer[near] * inner_rad / to_inner[near]))
    high = int(np.flatnonzero(above)[np.argmin(to_inner[above])])
    low = int(np.flatnonzero(below)[np.argmax(to_inner[below])]) if below.any() else high
    step = float(to_inner[high] - to_inner[low])
    share = (inner_rad - float(to_inner[low])) / step if step > 0.0 else 0.0
    outer = float(to_outer[low]) + share * float(to_outer[high] - to_outer[low])
    return _toe_out(axle, inner, inner_rad, outer)


def _toe_out(axle: SteeredAxle, inner: Side, inner_rad: float, outer_rad: float) -> ToeOut:
    measured = None
    if axle.u_rad is not None:
        # As bad as one pair of readings, which is the worst that a share between two can do.
        u = math.sqrt(2.0) * axle.u_rad
        measured = Measured.of(inner_rad - outer_rad, u, source=Source("readings of the steering"))
    return ToeOut(inner, inner_rad, outer_rad, measured)


def rolling_outer(inner_rad: float, kingpin_spacing_m: float, wheelbase_m: float) -> float:
    """Return the outer wheel's angle at which neither wheel scrubs in a turn, rad.

    cot(outer) - cot(inner) = kingpin spacing / wheelbase (Ackermann geometry, ISO 8855 7.1.9:
    the wheels' axes meet at the turn centre on the line of the rear axle).

    Raises:
        ValueError: an angle that is no turn, or a length that is not above 0.
    """
    if not 0.0 < inner_rad < math.pi / 2.0:
        raise ValueError(f"an inner wheel at {inner_rad} rad is no turn")
    if not (kingpin_spacing_m > 0.0 and wheelbase_m > 0.0):
        raise ValueError("kingpin spacing and wheelbase are above 0")
    return math.atan2(1.0, 1.0 / math.tan(inner_rad) + kingpin_spacing_m / wheelbase_m)
