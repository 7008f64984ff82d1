"""The state of a run-out fit: the readings, what they have led to so far, the regression."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.harmonics import HarmonicFit
from ingest.geometry.clamp import ClampError, plan_angle
from ingest.geometry.runout import Turn
from ingest.geometry.sightline import Sightline

F64 = NDArray[np.float64]

SPIN_PASSES = 4
"""Plan angle and spin angle depend on each other, by the clamp error times the tilt."""

LEAST_LEVER = 0.5
"""Sine of the smallest angle between sightline and wheel plane that shows an eccentricity."""


@dataclass(frozen=True, slots=True)
class Solution:
    """A state of the fit: the readings, what they have led to so far, and the regression.

    ``axis_heading_rad`` is the plan angle from the sightline to the left spin axis;
    ``eccentric`` as ``eccentric_motion`` takes it.
    """

    turn: Turn
    line: Sightline
    spin_rad: F64
    elevation_rad: float
    clamp: ClampError
    axis_heading_rad: float
    eccentric: tuple[float, float] = (0.0, 0.0)
    regression: HarmonicFit | None = None

    @property
    def fit(self) -> HarmonicFit:
        """The regression, once there is one."""
        assert self.regression is not None
        return self.regression

    def vector(self) -> F64:
        """Return the unknowns, rad: elevation, clamp error, axis heading, eccentricity, (6,)."""
        e, phase = self.clamp.angle_rad, self.clamp.phase_rad
        error = (e * math.cos(phase), e * math.sin(phase))
        return np.array([self.elevation_rad, *error, self.axis_heading_rad, *self.eccentric])

    def elevation_coefficients(self) -> F64:
        """Return constant, cosine and sine of the elevation channel that this state predicts."""
        e, phase, theta = self.clamp.angle_rad, self.clamp.phase_rad, self.elevation_rad
        across = math.sin(e) * math.cos(theta)
        constant = math.cos(e) * math.sin(theta)
        sines = (constant, across * math.cos(phase), across * math.sin(phase))
        return np.array(sines) / self.turn.elevation_scale

    def way_to(self, other: "Solution") -> F64:
        """Return the difference of the unknowns to another state, rad, shape (6,)."""
        way: F64 = other.vector() - self.vector()
        way[3] = math.remainder(way[3], 2.0 * math.pi)
        return way

    def at(self, vector: F64) -> "Solution":
        """Return the state with these unknowns, its spin angles those that go with them."""
        elevation, cosine, sine, heading, *eccentric = (float(v) for v in vector)
        clamp = ClampError(math.hypot(cosine, sine), math.atan2(sine, cosine))
        spin, turn = self.spin_rad, self.turn
        if turn.encoder is not None:
            for _ in range(SPIN_PASSES):
                spin = turn.encoder.spin_angle(plan_angle(elevation, clamp, spin), elevation)
        return Solution(
            turn, self.line, spin, elevation, clamp, heading, (eccentric[0], eccentric[1])
        )

    def distance(self, other: "Solution") -> float:
        """Return the largest difference from another state, rad."""
        turned = math.remainder(other.clamp.phase_rad - self.clamp.phase_rad, 2.0 * math.pi)
        return max(
            abs(other.elevation_rad - self.elevation_rad),
            abs(other.clamp.angle_rad - self.clamp.angle_rad),
            abs(turned) * self.clamp.angle_rad,
            abs(math.remainder(other.axis_heading_rad - self.axis_heading_rad, 2.0 * math.pi)),
            abs(other.eccentric[0] - self.eccentric[0]),
            abs(other.eccentric[1] - self.eccentric[1]),
        )


def across(axis_heading_rad: float) -> float | None:
    """Return how much a forward motion of the port turns the sightline, per unit of its length.

    1 and -1 for sightlines square across the vehicle; None for those along it, which do not
    show an eccentricity.
    """
    lever = -math.cos(axis_heading_rad)
    return lever if abs(lever) >= LEAST_LEVER else None
