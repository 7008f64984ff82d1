"""The straight line under a set of points: a clock's drift from arrivals that are only late."""

from dataclasses import dataclass

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
    middle = float(t.sum()) / len(t)
    slope = 0.0
    left = int(t.searchsorted(middle, side="left"))
    right = int(t.searchsorted(middle, side="right"))
    if left:
        # Of all chords from a point left of the middle to one right of it, the lowest at the
        # middle is an edge of the hull (but for a point at the middle, which needs no slope).
        from_t, from_y = t[:left, None], y[:left, None]
        rise = (y[right:] - from_y) / (t[right:] - from_t)
        lowest = (from_y + rise * (middle - from_t)).argmin()
        slope = min(max(float(rise.flat[lowest]), -steepest), steepest)
    return Line(middle, float((y - slope * (t - middle)).min()), slope)
