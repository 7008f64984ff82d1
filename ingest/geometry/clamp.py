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


@dataclass(frozen=True, slots=True)
class ClampErrors:
    """Several of them, shape (n,) each: one clamp as it might be."""

    angle_rad: F64
    phase_rad: F64


def axis_elevation(
    shaft_elevation_rad: ArrayLike, clamp: ClampError | ClampErrors, spin_rad: ArrayLike
) -> F64:
    """Return the elevation of the spin axis under a shaft seen at one spin angle, rad.

    From y_z = cos e sin(theta) + sin e cos psi cos(theta), which is R sin(theta + delta).
    NaN when no axis could carry the shaft there.
    """
    psi = np.asarray(spin_rad, dtype=np.float64) - clamp.phase_rad
    along, across = np.cos(clamp.angle_rad), np.sin(clamp.angle_rad) * np.cos(psi)
    ratio = np.sin(shaft_elevation_rad) / np.hypot(along, across)
    possible = np.where(np.abs(ratio) <= 1.0, ratio, np.nan)
    return np.asarray(np.arcsin(possible) - np.arctan2(across, along), dtype=np.float64)


def plan_angle(
    elevation_rad: ArrayLike, clamp: ClampError | ClampErrors, spin_rad: ArrayLike
) -> F64:
    """Return the plan angle from the spin axis to the shaft, counter-clockwise, rad."""
    psi = np.asarray(spin_rad, dtype=np.float64) - clamp.phase_rad
    sin_e, cos_e = np.sin(clamp.angle_rad), np.cos(clamp.angle_rad)
    outward = cos_e * np.cos(elevation_rad) - sin_e * np.sin(elevation_rad) * np.cos(psi)
    return np.asarray(-np.arctan2(sin_e * np.sin(psi), outward), dtype=np.float64)


def plan_angle_slopes(elevation_rad: float, clamp: ClampError, spin_rad: F64) -> F64:
    """Return the derivatives of ``plan_angle`` by elevation, angle and phase, shape (3, n)."""
    psi = spin_rad - clamp.phase_rad
    sin_p, cos_p = np.sin(psi), np.cos(psi)
    sin_e, cos_e = math.sin(clamp.angle_rad), math.cos(clamp.angle_rad)
    sin_a, cos_a = math.sin(elevation_rad), math.cos(elevation_rad)
    forward, outward = sin_e * sin_p, cos_e * cos_a - sin_e * sin_a * cos_p
    slopes = np.empty((3, len(psi)))
    slopes[0] = forward * (-cos_e * sin_a - sin_e * cos_a * cos_p)
    slopes[1] = forward * (-sin_e * cos_a - cos_e * sin_a * cos_p) - outward * cos_e * sin_p
    slopes[2] = forward * (-sin_e * sin_a * sin_p) + outward * sin_e * cos_p
    slopes /= forward**2 + outward**2
    return slopes
