"""A slope that a few points cannot turn, and between which limits it lies.

Written out here since the library that has it takes half a second to load; a test holds it to that.
"""

import math

import numpy as np

from ingest.core.blocks import F64


def slope_limits(x: F64, y: F64, deviates: float) -> tuple[float, float]:
    """Return the limits of Theil and Sen's slope, the median of the slopes of all pairs.

    Args:
        x: strictly increasing, shape (n,), n >= 3.
        y: shape (n,).
        deviates: of the normal distribution, one-sided, for the confidence that is wanted.

    Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379, by the variance of Kendall's statistic.
    """
    early, late = np.triu_indices(len(x), 1)
    slopes = np.sort((y[late] - y[early]) / (x[late] - x[early]))
    n = len(x)
    reach = deviates * math.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)
    low = max(round((len(slopes) - reach) / 2.0) - 1, 0)
    high = min(round((len(slopes) + reach) / 2.0), len(slopes) - 1)
    return float(slopes[low]), float(slopes[high])
