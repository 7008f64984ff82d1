"""An exact knuckle, plate and head in space, made with SciPy's rotations (none of our own)."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.core.frames import Side
from ingest.geometry.sweep.readings import Sweep

Z = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Knuckle:
    """A steered wheel with a locked head, ISO 8855 signs; ``axle_roll`` rad per rad."""

    side: Side = Side.LEFT
    caster_deg: float = 4.0
    sai_deg: float = 6.0
    camber_deg: float = 0.5
    toe_deg: float = 0.0
    swing_deg: float = 0.3
    axle_roll: float = 0.0

    @property
    def k(self):
        """The steering axis, as model and handbooks give its two projected angles."""
        tangents = [-math.tan(math.radians(self.caster_deg))]
        tangents.append(-self.side.sign * math.tan(math.radians(self.sai_deg)))
        k = np.array([*tangents, 1.0])
        return k / np.linalg.norm(k)

    def turned(self, turn_rad):
        """Turn the knuckle about k and roll the axle; return x, y (n, 3), heading, plate (n,)."""
        turn = np.atleast_1d(np.asarray(turn_rad, float))
        sign = self.side.sign
        lean = Rotation.from_euler("x", -sign * self.camber_deg, degrees=True)
        toe = Rotation.from_euler("z", -sign * self.toe_deg, degrees=True)
        y0 = (toe * lean).apply([0.0, 1.0, 0.0])
        swing = Rotation.from_rotvec(-math.radians(self.swing_deg) * y0)
        x0 = swing.apply(np.cross(y0, Z) / np.linalg.norm(np.cross(y0, Z)))
        knuckle = Rotation.from_rotvec(turn[:, None] * self.k)
        x, y = knuckle.apply(x0), knuckle.apply(y0)
        heading = self._heading(y)
        for _ in range(8 if self.axle_roll else 0):
            # The roll follows the heading that is read, which the roll itself bends a little.
            roll = Rotation.from_rotvec(np.outer(self.axle_roll * heading, [1.0, 0.0, 0.0]))
            heading = self._heading(roll.apply(knuckle.apply(y0)))
        if self.axle_roll:
            x, y = roll.apply(knuckle.apply(x0)), roll.apply(knuckle.apply(y0))
        return x, y, heading, turn * self.k[2]

    def _heading(self, y):
        straight = -self.side.sign * math.radians(self.toe_deg)
        return np.arctan2(-y[:, 0], y[:, 1]) - straight

    def turn_for(self, heading_rad):
        """Return the turns about k that bring the shaft to these headings, by secants."""
        wanted = np.atleast_1d(np.asarray(heading_rad, float))
        a, b = wanted, wanted * 1.01 + 1e-6
        fa, fb = (self.turned(each)[2] - wanted for each in (a, b))
        for _ in range(8):
            slope = np.where(fb == fa, 1.0, (fb - fa) / np.where(b == a, 1.0, b - a))
            a, fa = b, fb
            b = b - fb / slope
            fb = self.turned(b)[2] - wanted
        return b

    def sweep(self, steer_deg, *, locked=True, by_plate=False):
        """Return perfect readings at headings (turns about k where the plate is read)."""
        steer = np.radians(np.asarray(steer_deg, float))
        turn = steer if by_plate else self.turn_for(steer)
        x, y, heading, plate = self.turned(turn)
        return Sweep(
            self.side,
            plate if by_plate else heading,
            np.arcsin(y[:, 2]),
            np.arcsin(x[:, 2]) if locked else None,
            toe_rad=math.radians(self.toe_deg),
            by_plate=by_plate,
        )


def noisy(sweep, rng, tilt_deg=0.005, steer_deg=0.02):
    """Return a sweep with normal noise on its readings."""

    def with_noise(values, sigma_deg):
        return values + math.radians(sigma_deg) * rng.standard_normal(len(values))

    return Sweep(
        sweep.side,
        with_noise(sweep.steer_rad, steer_deg),
        with_noise(sweep.incl_y_rad, tilt_deg),
        None if sweep.incl_x_rad is None else with_noise(sweep.incl_x_rad, tilt_deg),
        toe_rad=sweep.toe_rad,
        by_plate=sweep.by_plate,
    )


@pytest.fixture(scope="session")
def knuckle():
    """Return the class."""
    return Knuckle


@pytest.fixture(scope="session")
def with_noise():
    """Return the function."""
    return noisy
