"""The axis of a cone: unit vectors turned about one fixed axis.

Run-out sees the stub shaft sweep a cone at known turn angles; gravity seen from a head that
turns with its wheel, or from a knuckle that is steered, sweeps one at unknown angles. Both
forms are linear, need no start value, and hold for cones of any width.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

_FEWEST = 3


@dataclass(frozen=True, slots=True)
class ConeAxis:
    """The axis of a cone.

    ``axis`` is a unit vector, shape (3,), on the side of the vectors' mean (for a cone wider
    than a right angle: opposite to it only by the sign of the cosine). ``half_angle_rad`` lies
    between axis and vectors. ``rms`` is the root mean square of what is left over, in parts of
    the unit vector.
    """

    axis: F64
    half_angle_rad: float
    rms: float


@dataclass(frozen=True, slots=True)
class TurnedCone(ConeAxis):
    """A cone fitted at known turn angles, with what shows whether it is one.

    For a true rotation about the axis both harmonics have the same length and stand at right
    angles to each other and to the axis: ``unequal`` is the difference of the lengths,
    ``oblique`` the largest of the three scalar products, both in parts of the unit vector.
    """

    unequal: float
    oblique: float


def axis_from_known_turns(turn_rad: F64, vectors: F64) -> TurnedCone:
    """Fit ``v = c0 + c1 cos(turn) + c2 sin(turn)``; the axis is c0, the half-angle |c1| : |c0|.

    Args:
        turn_rad: turn about the axis, shape (n,), n >= 3 distinct angles.
        vectors: unit vectors in a frame that does not turn, shape (n, 3).
    """
    design = np.stack([np.ones_like(turn_rad), np.cos(turn_rad), np.sin(turn_rad)], axis=1)
    c, _, rank, _ = np.linalg.lstsq(design, vectors, rcond=None)
    if rank < _FEWEST:
        raise ValueError("a cone needs three distinct turn angles")
    along, cosine, sine = (float(np.linalg.norm(row)) for row in c)
    axis = c[0] / along
    products = (c[1] @ c[2] / max(cosine, sine, 1e-300), axis @ c[1], axis @ c[2])
    return TurnedCone(
        axis=axis,
        half_angle_rad=math.atan2(math.hypot(cosine, sine) / math.sqrt(2.0), along),
        rms=_rms(vectors - design @ c),
        unequal=abs(cosine - sine),
        oblique=max(abs(float(p)) for p in products),
    )


def axis_from_unknown_turns(vectors: F64) -> ConeAxis:
    """Fit a plane through the tips of the vectors; its normal is the axis of their cone.

    Total least squares: the normal is the direction in which the tips vary least. Its distance
    from the origin is the cosine of the half-angle.

    Args:
        vectors: unit vectors at three or more different turns, shape (n, 3).
    """
    if len(vectors) < _FEWEST:
        raise ValueError("a cone needs three vectors")
    mean = vectors.mean(axis=0)
    _, spread, directions = np.linalg.svd(vectors - mean, full_matrices=False)
    axis = directions[2]
    offset = float(axis @ mean)
    if offset < 0.0:
        axis, offset = -axis, -offset
    return ConeAxis(
        axis=axis,
        half_angle_rad=math.acos(min(offset, 1.0)),
        rms=float(spread[2]) / math.sqrt(len(vectors)),
    )


def _rms(rest: F64) -> float:
    return float(np.sqrt(np.mean(np.sum(rest**2, axis=1))))
