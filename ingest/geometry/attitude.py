"""How a head hangs: its swing, the wheel's spin angle and the levelling of a sightline.

Directions about a spin axis are written in the axis' own level frame: ``h`` the axis' heading
(its horizontal projection), ``f`` the horizontal direction a right angle clockwise from it
(forward, when the axis points left), ``z`` up. All functions take scalars or arrays of one
shape and are exact; nothing is developed for small angles.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

F64 = NDArray[np.float64]


def swing(incl_x_rad: ArrayLike, incl_y_rad: ArrayLike) -> F64:
    """Return the turn of the head about its stub shaft, forward axis up positive, rad.

    ``incl_x`` is the elevation of the forward axis; a tilted shaft makes it smaller than the
    swing by the cosine of the tilt.
    """
    ratio = np.sin(incl_x_rad) / np.cos(incl_y_rad)
    return np.asarray(np.arcsin(np.clip(ratio, -1.0, 1.0)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class HungEncoder:
    """The encoder of a hanging head as read, ready to be told against the vertical.

    Cosine and sine of the encoder less the head's swing, and of the shaft's elevation.
    """

    cos_r: F64
    sin_r: F64
    cos_y: F64
    sin_y: F64

    @classmethod
    def read(
        cls, rotation_rad: ArrayLike, incl_x_rad: ArrayLike, incl_y_rad: ArrayLike
    ) -> "HungEncoder":
        """Take the readings of one head; arguments as ``spin_angle``."""
        hung = np.asarray(rotation_rad) - swing(incl_x_rad, incl_y_rad)
        return cls(np.cos(hung), np.sin(hung), np.cos(incl_y_rad), np.sin(incl_y_rad))

    def spin_angle(self, plan_rad: ArrayLike, elevation_rad: ArrayLike) -> F64:
        """Return the wheel's turn about its spin axis; arguments as ``spin_angle``."""
        sin_a, cos_a = np.sin(elevation_rad), np.cos(elevation_rad)
        sin_p, cos_p = np.sin(plan_rad), np.cos(plan_rad)
        down = self.cos_r * sin_p * sin_a
        down += self.sin_r * (self.cos_y * cos_a + self.sin_y * sin_a * cos_p)
        forward = self.cos_r * cos_p - self.sin_r * self.sin_y * sin_p
        return np.asarray(np.arctan2(down, forward), dtype=np.float64)


def spin_angle(
    rotation_rad: ArrayLike,
    incl_x_rad: ArrayLike,
    incl_y_rad: ArrayLike,
    plan_rad: ArrayLike,
    elevation_rad: ArrayLike,
) -> F64:
    """Return the wheel's turn about its spin axis against the vertical, rad in (-pi, pi].

    With r = cos(rotation) x - sin(rotation) u (fixed to the wheel), w the upward and f the
    forward perpendicular of the axis, the turn is atan2(-r.w, r.f).

    Args:
        rotation_rad: the encoder on the stub shaft: turn of the wheel relative to the head.
        incl_x_rad, incl_y_rad: elevations of the head's forward and left axes.
        plan_rad: plan angle from the spin axis to the stub shaft, counter-clockwise.
        elevation_rad: elevation of the spin axis.
    """
    encoder = HungEncoder.read(rotation_rad, incl_x_rad, incl_y_rad)
    return encoder.spin_angle(plan_rad, elevation_rad)


@dataclass(frozen=True, slots=True)
class TiltedPlane:
    """A head's own x-y plane with a direction read in it, ready to be levelled.

    Sines of the axes' elevations, cosine and sine of the direction, and the slope of the plane
    along it (``fall_rad`` below the horizontal, ``reach`` its share of the vertical).
    """

    y_z: F64
    x_z: F64
    u_z: F64
    cos_t: F64
    sin_t: F64
    reach: F64
    fall_rad: F64

    @classmethod
    def read(
        cls, azimuth_rad: ArrayLike, incl_x_rad: ArrayLike, incl_y_rad: ArrayLike
    ) -> "TiltedPlane":
        """Take the readings of one head; arguments as ``sightline_to_shaft``."""
        x_z, y_z = np.sin(incl_x_rad), np.sin(incl_y_rad)
        u_z = np.sqrt(np.maximum(1.0 - x_z**2 - y_z**2, 0.0))
        cos_t, sin_t = np.cos(azimuth_rad), np.sin(azimuth_rad)
        slope = cos_t * x_z + sin_t * y_z
        return cls(y_z, x_z, u_z, cos_t, sin_t, np.hypot(slope, u_z), np.arctan2(slope, u_z))

    def sightline_to_shaft(self, sightline_elevation_rad: ArrayLike) -> F64:
        """Return the plan angle from the sightline to the shaft, counter-clockwise, rad."""
        height = np.sin(sightline_elevation_rad)
        out_of_plane = np.arcsin(height / self.reach) - self.fall_rad
        in_plane, d_u = np.cos(out_of_plane), np.sin(out_of_plane)
        across = self.u_z * (in_plane * self.cos_t) - self.x_z * d_u
        return np.asarray(np.arctan2(across, in_plane * self.sin_t - height * self.y_z))


def sightline_to_shaft(
    azimuth_rad: ArrayLike,
    incl_x_rad: ArrayLike,
    incl_y_rad: ArrayLike,
    sightline_elevation_rad: ArrayLike = 0.0,
) -> F64:
    """Return the plan angle from a sightline to the stub shaft, counter-clockwise, rad.

    The encoder sees the sightline projected on the head's own x-y plane, which tilts with the
    head. The sightline is put back at its own elevation before it is seen from above.

    Args:
        azimuth_rad: encoder angle of the sightline, counter-clockwise from the head's x.
        incl_x_rad, incl_y_rad: elevations of the head's forward and left axes.
        sightline_elevation_rad: elevation of the sightline seen from this head.
    """
    plane = TiltedPlane.read(azimuth_rad, incl_x_rad, incl_y_rad)
    return plane.sightline_to_shaft(sightline_elevation_rad)


def wrapped(angle_rad: ArrayLike) -> F64:
    """Return an angle brought into (-pi, pi], rad."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    return np.asarray(np.pi - (np.pi - angle) % (2.0 * np.pi), dtype=np.float64)
