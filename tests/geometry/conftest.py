"""An exact wheel, clamp and head in space, made with SciPy's rotations (none of our own).

``Wheel.read`` gives what a perfect head reads: elevations, encoder, sightline.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

Z = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Reading:
    """Perfect readings, rad, shape (n,); ``spin_rad`` is the wheel's turn against the vertical."""

    spin_rad: np.ndarray
    rotation_rad: np.ndarray
    incl_x_rad: np.ndarray
    incl_y_rad: np.ndarray
    azimuth_rad: np.ndarray


@dataclass(frozen=True)
class Wheel:
    """A wheel with camber and toe (ISO 8855 signs), a clamp, and a partner across."""

    side: int
    camber_deg: float
    toe_deg: float
    runout_deg: float
    runout_at_deg: float
    eccentric_m: float = 0.0
    eccentric_at_deg: float = 0.0
    stub_m: float = 0.0
    line_m: float = 2.0
    ahead_m: float = 0.0
    """How far ahead of the hub the port lies, along the head's forward axis."""
    rise_m: float = 0.0
    """How far the partner's port lies above this one."""

    @property
    def left_axis(self):
        """The spin axis that points left: from level and square, leant and toed."""
        toe = Rotation.from_euler("z", -self.side * self.toe_deg, degrees=True)
        lean = Rotation.from_euler("x", -self.side * self.camber_deg, degrees=True)
        return (toe * lean).apply([0.0, 1.0, 0.0])

    def read(self, spin_deg, swing_deg=0.0):
        """Read the head at wheel turns, hanging ``swing_deg`` off plumb (forward axis up)."""
        spin = np.radians(np.atleast_1d(np.asarray(spin_deg, float)))
        swing = np.broadcast_to(np.radians(swing_deg), spin.shape)
        rows = [self._read_one(phi, hung) for phi, hung in zip(spin, swing, strict=True)]
        return Reading(spin, *np.array(rows).T)

    def _read_one(self, phi, hung):
        a = self.left_axis
        forward = np.cross(a, Z) / np.linalg.norm(np.cross(a, Z))
        up = np.cross(forward, a)
        turned = Rotation.from_rotvec(phi * a)
        # In the wheel at spin zero: the shaft leans towards ``runout_at`` from up to forward.
        lean_to = np.radians(self.runout_at_deg)
        lean = np.cos(lean_to) * up + np.sin(lean_to) * forward
        e = np.radians(self.runout_deg)
        y = turned.apply(np.cos(e) * a + np.sin(e) * lean)
        level = np.cross(y, Z) / np.linalg.norm(np.cross(y, Z))
        x = Rotation.from_rotvec(-hung * y).apply(level)
        u = np.cross(x, y)
        mark = forward - (forward @ (np.cos(e) * a + np.sin(e) * lean)) * (
            np.cos(e) * a + np.sin(e) * lean
        )
        r = turned.apply(mark / np.linalg.norm(mark))
        rotation = np.arctan2(-(r @ u), r @ x)
        at = np.radians(self.eccentric_at_deg)
        foot = self.eccentric_m * turned.apply(np.cos(at) * up + np.sin(at) * forward)
        port = foot + self.side * self.stub_m * y + self.ahead_m * x
        # The line starts where the port of a true head would be that hangs straight down.
        start = self.side * self.stub_m * a + self.ahead_m * forward
        partner = start + np.array([0.0, -self.side * self.line_m, self.rise_m])
        d = (partner - port) / np.linalg.norm(partner - port)
        return rotation, np.arcsin(x @ Z), np.arcsin(y @ Z), np.arctan2(d @ y, d @ x)


@pytest.fixture
def wheel_in_space():
    """Return the class."""
    return Wheel


def readings_of(p, spin, hung):
    """Return elevation of the shaft and azimuth of the sightline, shape (2, n), with vectors.

    ``p``: elevation of the spin axis, the shaft's lean in the wheel (up, forward), heading of the
    axis from the sightline, offset of the clamp in lengths of the sightline (up, forward).
    """
    theta, lean_up, lean_forward, heading, ecc_up, ecc_forward = p
    h = np.array([math.cos(heading), math.sin(heading), 0.0])
    z = np.array([0.0, 0.0, 1.0])
    a = math.cos(theta) * h + math.sin(theta) * z
    f = np.cross(h, z)
    w = np.cross(f, a)

    def turned(up, forward):
        """A vector fixed to the wheel, square to its axis, as it turns."""
        along_w = up * np.cos(spin) - forward * np.sin(spin)
        along_f = up * np.sin(spin) + forward * np.cos(spin)
        return np.outer(along_w, w) + np.outer(along_f, f)

    y = a + turned(lean_up, lean_forward)
    y /= np.linalg.norm(y, axis=1)[:, None]
    level = np.cross(y, z)
    level /= np.linalg.norm(level, axis=1)[:, None]
    x = np.cos(hung)[:, None] * level + np.sin(hung)[:, None] * np.cross(level, y)
    line = np.array([1.0, 0.0, 0.0]) - turned(ecc_up, ecc_forward)
    return np.array([np.arcsin(y @ z), np.arctan2((line * y).sum(1), (line * x).sum(1))])


@pytest.fixture(scope="session")
def modelled():
    """Return the function."""
    return readings_of
