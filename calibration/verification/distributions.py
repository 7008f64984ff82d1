"""The distributions that an uncertainty budget names, and how to draw from them.

Divisors are those of GUM 4.3 (JCGM 100:2008); draws follow JCGM 101:2008, 6.4.
"""

import math
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


class Distribution(StrEnum):
    """What is known of an input besides its estimate and standard uncertainty."""

    NORMAL = "normal"
    T = "t"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "u-shaped"


DIVISORS = {
    Distribution.RECTANGULAR: math.sqrt(3.0),
    Distribution.TRIANGULAR: math.sqrt(6.0),
    Distribution.U_SHAPED: math.sqrt(2.0),
}
"""Half width over standard uncertainty, where the distribution has a width."""


def draw(rng: np.random.Generator, distribution: Distribution, u: float, dof: float, n: int) -> F64:
    """Return n deviations from the estimate, shape (n,), for standard uncertainty ``u``.

    A normal or t input with finite ``dof`` is drawn as a t variable scaled by ``u`` (6.4.9);
    one with limits that are themselves uncertain, as a curvilinear trapezoid (6.4.3): its half
    width has the relative doubt 1/sqrt(2 dof) that GUM G.4.2 gives ``dof`` its meaning by.
    """
    if distribution in (Distribution.NORMAL, Distribution.T):
        return u * (rng.standard_normal(n) if math.isinf(dof) else rng.standard_t(dof, n))
    half = u * DIVISORS[distribution]
    if math.isfinite(dof):
        doubt = min(1.0, 1.0 / math.sqrt(2.0 * dof))
        widths: F64 = half * (1.0 + doubt * rng.uniform(-1.0, 1.0, n))
    else:
        widths = np.full(n, half)
    return widths * _unit(rng, distribution, n)


def _unit(rng: np.random.Generator, distribution: Distribution, n: int) -> F64:
    """Return draws between -1 and 1."""
    if distribution is Distribution.RECTANGULAR:
        return rng.uniform(-1.0, 1.0, n)
    if distribution is Distribution.TRIANGULAR:
        return rng.triangular(-1.0, 0.0, 1.0, n)
    result: F64 = np.sin(2.0 * np.pi * rng.random(n))
    return result
