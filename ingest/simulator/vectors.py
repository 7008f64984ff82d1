"""Plain vector algebra on arrays of vectors, shape (n, 3) or (1, 3)."""

import numpy as np

from ingest.core.blocks import F64

UP: F64 = np.array([[0.0, 0.0, 1.0]])
"""The local vertical, shape (1, 3)."""
NEXT, LAST = np.array([1, 2, 0]), np.array([2, 0, 1])
"""To each axis the two others, in right-handed order."""


def dot(a: F64, b: F64) -> F64:
    """Return the scalar product of each pair, shape (n,)."""
    product: F64 = a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1] + a[:, 2] * b[:, 2]
    return product


def cross(a: F64, b: F64) -> F64:
    """Return a x b of each pair, shape (n, 3). Several times faster than NumPy's general one."""
    product: F64 = a.take(NEXT, 1) * b.take(LAST, 1) - a.take(LAST, 1) * b.take(NEXT, 1)
    return product


def unit(a: F64) -> F64:
    """Return each vector at length one."""
    length: F64 = np.sqrt(dot(a, a))
    return a / length[:, None]


def mix(p: F64, a: F64, q: F64, b: F64) -> F64:
    """Return p a + q b with one factor per vector."""
    total: F64 = p[:, None] * a + q[:, None] * b
    return total


def turn_about(axis: F64, angle_rad: F64, a: F64) -> F64:
    """Turn vectors about unit axes by the right-hand rule (Rodrigues' formula)."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    along = dot(axis, a) * (1.0 - cos)
    turned: F64 = mix(cos, a, sin, cross(axis, a)) + along[:, None] * axis
    return turned
