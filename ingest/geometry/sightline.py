"""A sightline whose near end is carried round by a turning wheel.

All in the level frame of the spin axis (see ``attitude``): components along h, f and z.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.attitude import swing

F64 = NDArray[np.float64]

OFFSET_RMS_M = 0.002
"""How well a self-centring clamp centres, where nobody says (common practice; ours to choose)."""


@dataclass(frozen=True, slots=True)
class Sightline:
    """What is known of a sightline before the wheel is turned.

    ``elevation_rad`` is its elevation from this head, 0 between ports of equal height.
    ``length_m`` runs from port to port; without it the head's own motion cannot be told from
    an eccentric clamp. ``offset_rms_m`` is how far off centre a clamp sits, root mean
    square over its mountings, to any side (None: anywhere). The port lies ``port_forward_m``
    along the head's forward axis and ``port_left_m`` along its left axis (outward is left on
    the left side, right on the right).
    """

    elevation_rad: float = 0.0
    length_m: float | None = None
    port_forward_m: float = 0.0
    port_left_m: float = 0.0
    offset_rms_m: float | None = OFFSET_RMS_M

    def __post_init__(self) -> None:
        if self.length_m is not None and not self.length_m > 0.0:
            raise ValueError(f"a sightline of {self.length_m} m is not possible")
        if self.offset_rms_m is not None and not self.offset_rms_m > 0.0:
            raise ValueError(f"a clamp's offset of {self.offset_rms_m} m is not possible")

    @property
    def offset_swing(self) -> float | None:
        """Standard deviation of each of the offset's two components, in lengths of the line.

        None where offset or length is not known.
        """
        if self.length_m is None or self.offset_rms_m is None:
            return None
        return self.offset_rms_m / (math.sqrt(2.0) * self.length_m)


def port_motion(
    line: Sightline,
    elevation_rad: float,
    plan_rad: F64,
    incl_x_rad: F64,
    incl_y_rad: F64,
) -> F64:
    """Return how far the head's attitude alone moves its port, in sightline lengths, (3, n).

    Measured from where the port of a true, level-hanging head would be. Zero where the length
    is not known.

    Args:
        line: the sightline.
        elevation_rad: elevation of the spin axis.
        plan_rad: plan angle from the axis to the shaft, shape (n,).
        incl_x_rad, incl_y_rad: elevations of the head's forward and left axes, shape (n,).
    """
    if line.length_m is None:
        return np.zeros((3, len(plan_rad)))
    sin_p, cos_p, zero = np.sin(plan_rad), np.cos(plan_rad), np.zeros_like(plan_rad)
    sin_y, cos_y = np.sin(incl_y_rad), np.cos(incl_y_rad)
    level_forward = np.stack([sin_p, cos_p, zero])
    upward = np.stack([-sin_y * cos_p, sin_y * sin_p, cos_y])
    turn = swing(incl_x_rad, incl_y_rad)
    forward = np.cos(turn) * level_forward + np.sin(turn) * upward
    left = np.stack([cos_y * cos_p, -cos_y * sin_p, sin_y])
    true_left = np.array([math.cos(elevation_rad), 0.0, math.sin(elevation_rad)])
    true_forward = np.array([0.0, 1.0, 0.0])
    motion = line.port_forward_m * (forward - true_forward[:, None])
    motion += line.port_left_m * (left - true_left[:, None])
    return np.asarray(motion / line.length_m, dtype=np.float64)


def eccentric_motion(elevation_rad: float, eccentricity: tuple[float, float], spin: F64) -> F64:
    """Return the motion of a hub held off centre, in sightline lengths, shape (3, n).

    ``eccentricity`` holds the offset, in sightline lengths, where it points up at spin angle 0
    and where it points up at a quarter turn (its size times cosine and sine of its phase).
    """
    cosine, sine = eccentricity
    up = cosine * np.cos(spin) + sine * np.sin(spin)
    forward = cosine * np.sin(spin) - sine * np.cos(spin)
    return np.stack([-math.sin(elevation_rad) * up, forward, math.cos(elevation_rad) * up])


def moved(line: Sightline, heading_rad: float, motion: F64) -> tuple[F64, F64]:
    """Return the plan angle by which a sightline turns, and its elevation, when its end moves.

    Args:
        line: the sightline before.
        heading_rad: plan angle from it to the axis, counter-clockwise.
        motion: of the near end, in lengths of the line, along h, f and z, shape (3, n).
    """
    level = math.cos(line.elevation_rad)
    along = level * math.cos(heading_rad) - motion[0]
    left = -level * math.sin(heading_rad) + motion[1]
    height = math.sin(line.elevation_rad) - motion[2]
    # Against the line before, not against an axis: a small angle, on no seam.
    cos_h, sin_h = math.cos(heading_rad), math.sin(heading_rad)
    turned = np.arctan2(along * sin_h + left * cos_h, along * cos_h - left * sin_h)
    return turned, np.asarray(np.arctan2(height, np.hypot(along, left)), dtype=np.float64)
