"""From a settled regression to a run-out with its uncertainty.

GUM 5.2.2 throughout: the covariance of the harmonic's coefficients is carried through the
derivatives of what is made of them. Both channels are taken to be equally noisy.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.harmonics import HarmonicFit
from calibration.measured import Measured, from_covariance, propagate
from ingest.geometry.arc import FEWEST_STOPS, TurnWorth, covered_arc
from ingest.geometry.clamp import ClampError, plan_angle, plan_angle_slopes
from ingest.geometry.elevation import axis_jacobian
from ingest.geometry.runout import Eccentricity, Runout, RunoutEstimates, Turn
from ingest.geometry.sightline import Sightline

F64 = NDArray[np.float64]

SOURCE = "noise of the turn"
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


def outcome(solution: Solution, sigma_rad: float | None) -> Runout:
    """Return the run-out that a settled solution stands for."""
    fit, turn = solution.fit, solution.turn
    used = fit.fit.kept
    rows, channels = int(used.sum()), fit.fit.residuals.shape[1]
    dof, rss = channels * fit.fit.dof, float(fit.fit.rss.sum())
    sigma = sigma_rad
    if sigma is None and dof > 0:
        sigma = math.sqrt(rss / dof)
    seen = turn.azimuth_rad is not None
    spread = float(math.inf) if sigma_rad is not None else float(dof)
    return Runout(
        elevation_rad=solution.elevation_rad,
        clamp=solution.clamp,
        heading_rad=_wheel(solution.axis_heading_rad) if seen else None,
        eccentricity=_eccentricity(solution) if seen else None,
        worth=TurnWorth(
            n=rows,
            arc_rad=covered_arc(solution.spin_rad[used]),
            distinct=FEWEST_STOPS,
            condition=fit.fit.design.condition,
            dilution=fit.dilution,
        ),
        harmonics=max(fit.orders),
        dof=dof,
        rms_rad=math.sqrt(rss / (channels * rows)),
        sigma_rad=sigma,
        outliers=fit.fit.rejected,
        estimates=None if sigma is None else _estimates(solution, sigma, spread),
    )


def _wheel(axis_heading_rad: float) -> float:
    """Return the heading of a wheel whose left spin axis has the given heading."""
    return math.remainder(axis_heading_rad - math.pi / 2.0, 2.0 * math.pi)


def _eccentricity(solution: Solution) -> Eccentricity | None:
    if across(solution.axis_heading_rad) is None:
        return None
    cosine, sine = solution.eccentric
    swing, length = math.hypot(cosine, sine), solution.line.length_m
    offset = None if length is None else swing * length
    return Eccentricity(swing, math.atan2(sine, cosine), offset)


def _estimates(solution: Solution, sigma_rad: float, dof: float) -> RunoutEstimates:
    shaft = _shaft_transform(solution)
    noise = solution.fit.fit.design.cofactor[:3, :3] * sigma_rad**2
    common: dict[str, Any] = {"source": SOURCE, "dof": dof}
    values = [solution.elevation_rad, solution.clamp.angle_rad, solution.clamp.phase_rad]
    if solution.turn.azimuth_rad is None:
        return RunoutEstimates(*from_covariance(values, shaft @ noise @ shaft.T, **common))
    line = _line_transform(solution)
    transform, both = np.zeros((6, 6)), np.zeros((6, 6))
    transform[:3, :3], transform[3:, 3:] = shaft, line
    transform[3:, :3] = line @ _line_slopes(solution) @ shaft
    both[:3, :3] = both[3:, 3:] = noise
    values += [_wheel(solution.axis_heading_rad), *solution.eccentric]
    parts = from_covariance(values, transform @ both @ transform.T, **common)
    elevation, angle, phase, heading, *offset = parts
    return RunoutEstimates(elevation, angle, phase, heading, _swing(solution, *offset))


def _shaft_transform(solution: Solution) -> F64:
    """Return d(elevation, angle, phase) / d(coefficients of the elevation channel)."""
    scale = solution.turn.elevation_scale
    c0, cosine, sine = (float(v) * scale for v in solution.fit.fit.coefficients[:3, 0])
    return axis_jacobian(c0, cosine, sine) * scale


def _line_transform(solution: Solution) -> F64:
    """Return d(heading, eccentricity) / d(coefficients of the heading channel)."""
    lever = across(solution.axis_heading_rad)
    if lever is None:
        return np.diag([1.0, 0.0, 0.0])
    return np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0 / lever], [0.0, -1.0 / lever, 0.0]])


def _line_slopes(solution: Solution) -> F64:
    """Return d(coefficients of the heading channel) / d(elevation, angle, phase).

    The shaft's plan angle is taken from what the sightline shows; a port outward on the shaft
    gives a part of it back.
    """
    fit, line = solution.fit.fit, solution.line
    slopes = plan_angle_slopes(solution.elevation_rad, solution.clamp, solution.spin_rad[fit.kept])
    back = 0.0
    if line.length_m is not None:
        back = -math.cos(solution.axis_heading_rad) * line.port_left_m / line.length_m
    sloped: F64 = fit.design.inverse[:3] @ slopes.T * (back - 1.0)
    return sloped


def _swing(solution: Solution, cosine: Measured, sine: Measured) -> Measured | None:
    if across(solution.axis_heading_rad) is None:
        return None
    size = math.hypot(cosine.value, sine.value)
    gradient = (cosine.value / size, sine.value / size) if size > 0.0 else (1.0, 0.0)
    return propagate(size, gradient, (cosine, sine))
