"""The largest of several measured values, with a coverage factor that the choice leaves whole.

Of many values that are alike, the largest is the one that happened to be measured too large, so
its own interval misses too often. The factor is therefore such that the intervals of all values
that could be the largest hold at once (a simultaneous t interval, correlations included). Where
one stands out, it is that value's own factor.
"""

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, covariance
from calibration.reporting import P, coverage_factor, t_factor

F64 = NDArray[np.float64]

DRAWS = 4_000
"""The factor comes out to about one percent."""
SEED = 1
"""Fixed: the same readings give the same factor."""
APART = 0.9973
"""Values further apart than this two-sided interval of their difference are no rivals."""


def largest(values: Sequence[Measured]) -> tuple[int, float]:
    """Return the place of the value of largest size, and its coverage factor at 95.45 %."""
    sizes = np.array([abs(v.value) for v in values])
    top = int(np.argmax(sizes))
    own = coverage_factor(values[top].dof)
    signs = np.where(np.array([v.value for v in values]) < 0, -1.0, 1.0)
    spread = covariance(values) * np.outer(signs, signs)
    gaps = np.diag(spread) + spread[top, top] - 2.0 * spread[top]
    reach = t_factor(APART, values[top].dof) * np.sqrt(np.maximum(gaps, 0.0))
    rivals = np.flatnonzero((sizes[top] - sizes <= reach) & (np.diag(spread) > 0.0))
    if len(rivals) < 2:
        return top, own
    return top, max(own, _together(spread[np.ix_(rivals, rivals)], values[top].dof))


def _together(spread: F64, dof: float) -> float:
    """Return the factor that covers all of several correlated t variables at once."""
    u = np.sqrt(np.diag(spread))
    eigenvalues, vectors = np.linalg.eigh(spread / np.outer(u, u))
    root = vectors * np.sqrt(np.maximum(eigenvalues, 0.0))
    independent, scale = _draws(len(u), dof)
    furthest = np.abs(independent @ root.T).max(axis=1) / scale
    return float(np.quantile(furthest, P))


@lru_cache(maxsize=16)
def _draws(n: int, dof: float) -> tuple[F64, F64]:
    """Return n standard normal variables, shape (DRAWS, n), and what makes t of them, (DRAWS,)."""
    rng = np.random.default_rng(SEED)
    normal = rng.standard_normal((DRAWS, n))
    infinite = math.isinf(dof)
    return normal, np.ones(DRAWS) if infinite else np.sqrt(rng.chisquare(dof, DRAWS) / dof)
