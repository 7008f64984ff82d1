"""The clamp's error: the small angle between stub shaft and spin axis, fixed to the wheel.

With e the angle, psi = phi - phase the wheel's turn from where the shaft points highest, and a,
w, f the spin axis, its upward and its forward perpendicular, the shaft is
y = cos e a + sin e (cos psi w + sin psi f). All that follows is read from its components.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ClampError:
    """How a clamp sits: ``angle_rad`` from the spin axis, highest at spin angle ``phase_rad``."""

    angle_rad: float
    phase_rad: float


def axis_elevation(shaft_elevation_rad: float, clamp: ClampError, spin_rad: float) -> float:
    """Return the elevation of the spin axis under a shaft seen at one spin angle, rad.

    From y_z = cos e sin(theta) + sin e cos psi cos(theta), which is R sin(theta + delta).
    NaN when no axis could carry the shaft there.
    """
    psi = spin_rad - clamp.phase_rad
    along, across = math.cos(clamp.angle_rad), math.sin(clamp.angle_rad) * math.cos(psi)
    ratio = math.sin(shaft_elevation_rad) / math.hypot(along, across)
    return math.asin(ratio) - math.atan2(across, along) if abs(ratio) <= 1.0 else math.nan


def plan_angle(elevation_rad: float, clamp: ClampError, spin_rad: ArrayLike) -> F64:
    """Return the plan angle from the spin axis to the shaft, counter-clockwise, rad."""
    forward, outward = _plan(elevation_rad, clamp, np.asarray(spin_rad, dtype=np.float64))
    return np.asarray(-np.arctan2(forward, outward), dtype=np.float64)


def plan_angle_slopes(elevation_rad: float, clamp: ClampError, spin_rad: ArrayLike) -> F64:
    """Return the derivatives of ``plan_angle`` by elevation, angle and phase, shape (3, n)."""
    spin = np.asarray(spin_rad, dtype=np.float64)
    psi = spin - clamp.phase_rad
    forward, outward = _plan(elevation_rad, clamp, spin)
    sin_e, cos_e = math.sin(clamp.angle_rad), math.cos(clamp.angle_rad)
    sin_a, cos_a = math.sin(elevation_rad), math.cos(elevation_rad)
    zero = np.zeros_like(psi)
    d_forward = np.stack([zero, cos_e * np.sin(psi), -sin_e * np.cos(psi)])
    d_outward = np.stack(
        [
            -cos_e * sin_a - sin_e * np.cos(psi) * cos_a,
            -sin_e * cos_a - cos_e * np.cos(psi) * sin_a,
            -sin_e * np.sin(psi) * sin_a,
        ]
    )
    slopes = (forward * d_outward - outward * d_forward) / (forward**2 + outward**2)
    return np.asarray(slopes, dtype=np.float64)


def _plan(elevation_rad: float, clamp: ClampError, spin_rad: F64) -> tuple[F64, F64]:
    """Return the shaft's horizontal components: forward, and along the axis' heading."""
    psi = spin_rad - clamp.phase_rad
    sin_e, cos_e = math.sin(clamp.angle_rad), math.cos(clamp.angle_rad)
    forward = sin_e * np.sin(psi)
    outward = cos_e * math.cos(elevation_rad) - sin_e * np.cos(psi) * math.sin(elevation_rad)
    return forward, outward
