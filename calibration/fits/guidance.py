"""Which attitude or position to take next: the one that lowers the uncertainty most.

A-optimal among candidates: the sum of the coefficients' variances, each over the square of
the size in which it matters, is lowest with the candidate's rows added.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

OPEN = 1e-8
"""Information that stands in for what is not determined yet (rank comes first, then spread)."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A candidate's place in the list given, and the rms uncertainty over size if it is taken.

    ``sigmas`` is in units of the standard deviation of one row; large while rank is missing.
    """

    index: int
    sigmas: float


def suggest(jacobian: F64, candidates: Sequence[F64], sizes: F64 | None = None) -> Suggestion:
    """Return the best of the candidates.

    Args:
        jacobian: rows taken so far, shape (n, p); n may be 0.
        candidates: the rows that each would add, shapes (k_i, p).
        sizes: what one unit of importance is worth in each coefficient, shape (p,).

    Raises:
        ValueError: there is no candidate.
    """
    if not candidates:
        raise ValueError("there is no candidate to choose from")
    scale = np.ones(jacobian.shape[1]) if sizes is None else sizes
    known = (jacobian * scale).T @ (jacobian * scale)
    spread = [_spread(known, rows * scale) for rows in candidates]
    best = int(np.argmin(spread))
    return Suggestion(best, spread[best])


def _spread(known: F64, rows: F64) -> float:
    p = known.shape[0]
    information = known + rows.T @ rows + OPEN * np.eye(p)
    return float(np.sqrt(np.trace(np.linalg.inv(information)) / p))
