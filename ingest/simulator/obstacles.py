"""What stands between two heads: beams as boxes, tyres as cylinders."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.core.blocks import F64

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Box:
    """A beam, tank or bracket: a box along the vehicle's axes, metres."""

    name: str
    low_m: tuple[float, float, float]
    high_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Tyre:
    """A tyre, single or dual: a cylinder along Y between two planes, metres.

    It stands where the design puts it; that a steered or jacked tyre moves is left out.
    """

    x_m: float
    z_m: float
    radius_m: float
    y_low_m: float
    y_high_m: float


def blocked_by_boxes(start_m: F64, end_m: F64, boxes: tuple[Box, ...]) -> Flags:
    """Say which straight lines (ends of shape (n, 3)) meet a box: booleans of shape (n,)."""
    if not boxes:
        return np.zeros(start_m.shape[0], dtype=bool)
    low = np.array([box.low_m for box in boxes])[None]
    high = np.array([box.high_m for box in boxes])[None]
    way = _nonzero(end_m - start_m)[:, None, :]
    one, other = (low - start_m[:, None, :]) / way, (high - start_m[:, None, :]) / way
    enter = np.maximum(np.minimum(one, other).max(axis=2), 0.0)
    leave = np.minimum(np.maximum(one, other).min(axis=2), 1.0)
    met: Flags = (enter < leave).any(axis=1)
    return met


def blocked_by_tyres(start_m: F64, end_m: F64, tyres: tuple[Tyre, ...]) -> Flags:
    """Say which straight lines (ends of shape (n, 3)) meet a tyre: booleans of shape (n,)."""
    if not tyres:
        return np.zeros(start_m.shape[0], dtype=bool)
    x, z, radius, low, high = np.array(
        [(t.x_m, t.z_m, t.radius_m, t.y_low_m, t.y_high_m) for t in tyres]
    ).T[:, None, :]
    way = _nonzero(end_m - start_m)
    one, other = (low - start_m[:, 1:2]) / way[:, 1:2], (high - start_m[:, 1:2]) / way[:, 1:2]
    enter = np.maximum(np.minimum(one, other), 0.0)
    leave = np.minimum(np.maximum(one, other), 1.0)
    from_x, from_z = start_m[:, 0:1] - x, start_m[:, 2:3] - z
    level = way[:, 0:1] ** 2 + way[:, 2:3] ** 2
    nearest = -(from_x * way[:, 0:1] + from_z * way[:, 2:3]) / level
    nearest = np.minimum(np.maximum(nearest, enter), leave)
    gap = np.hypot(from_x + nearest * way[:, 0:1], from_z + nearest * way[:, 2:3])
    met: Flags = ((enter < leave) & (gap < radius)).any(axis=1)
    return met


def _nonzero(way: F64) -> F64:
    """Keep a line that runs square to an axis divisible, without moving it noticeably."""
    return np.where(np.abs(way) < 1e-12, 1e-12, way)
