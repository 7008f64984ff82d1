"""The straight line under a set of points: a clock's drift from arrivals that are only late."""

from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import F64


@dataclass(frozen=True, slots=True)
class Line:
    """``value = height + slope * (t - at)``."""

    at: float
    height: float
    slope: float

    def __call__(self, t: float) -> float:
        return self.height + self.slope * (t - self.at)


def line_below(t: F64, y: F64, steepest: float) -> Line:
    """Return the line that lies nowhere above the points and on average closest to them.

    It is the edge of the lower convex hull over the mean of ``t``, which solves the linear
    programme of S. B. Moon, P. Skelly and D. Towsley, "Estimation and removal of clock skew
    from network delay measurements", IEEE INFOCOM 1999.

    Args:
        t: shape (n,), n >= 1, increasing.
        y: shape (n,).
        steepest: the slope is held to +-``steepest``, units of y per unit of t.
    """
    middle = float(t.mean())
    slope = 0.0
    left = int(np.searchsorted(t, middle, side="right"))
    if left < len(t):
        # Of all chords from a point left of the middle to one right of it, the lowest at the
        # middle is an edge of the hull.
        rise = (y[left:] - y[:left, None]) / (t[left:] - t[:left, None])
        at_middle = y[:left, None] + rise * (middle - t[:left, None])
        slope = min(max(float(rise.flat[at_middle.argmin()]), -steepest), steepest)
    return Line(middle, float((y - slope * (t - middle)).min()), slope)
