"""How well the readings of a turn determine its unknowns, alone and with what was known before.

GUM 5.2.2: the covariance of the harmonics' coefficients is carried to the unknowns of
``Solution.vector``: elevation, clamp error (cosine and sine), heading, eccentricity (likewise).
"""

import math

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.clamp import ClampError, plan_angle_slopes
from ingest.geometry.elevation import axis_of
from ingest.geometry.solution import Solution, across

F64 = NDArray[np.float64]

UNKNOWNS = 6
ECCENTRIC = slice(4, 6)
SMALLEST_ERROR_RAD = 1e-9
"""Keeps the slopes by a clamp error's direction finite where there is none."""


def covariance(solution: Solution, noise_rad: tuple[float, float]) -> F64:
    """Return the covariance of the unknowns from the noise of the readings, rad^2, (6, 6).

    Args:
        solution: a settled one.
        noise_rad: standard deviation of one reading of the elevation and of the sightline.

    Without a sightline all but the first three rows and columns are zero.
    """
    cofactor = solution.fit.fit.design.cofactor[:3, :3]
    both, transform = np.zeros((UNKNOWNS, UNKNOWNS)), np.zeros((UNKNOWNS, UNKNOWNS))
    both[:3, :3] = cofactor * noise_rad[0] ** 2
    transform[:3, :3] = _shaft_slopes(solution)
    if solution.turn.plane is not None:
        both[3:, 3:] = cofactor * noise_rad[1] ** 2
        line = _line_slopes(solution)
        transform[3:, 3:] = line
        transform[3:, :3] = line @ _sway_slopes(solution) @ transform[:3, :3]
    result: F64 = transform @ both @ transform.T
    return result


def with_prior(solution: Solution, spread: F64) -> tuple[Solution, F64]:
    """Return solution and covariance when a clamp is known to sit nearly on centre.

    The sightline's first harmonic is the cone's sway and the eccentricity of the clamp together.
    That the latter is small is one more pair of readings: zero, with the standard deviation that
    the sightline states. So the sightline tells of the cone as far as that allows, which on a
    short roll is most of what is known (a linear update by least squares; the free fit is its
    start, and so near that nothing is left to repeat).

    Unchanged where the sightline states neither length nor deviation, or does not see it.
    """
    swing = solution.line.offset_swing
    if swing is None or solution.turn.plane is None or across(solution.axis_heading_rad) is None:
        return solution, spread
    unknowns = solution.vector()
    seen = spread[ECCENTRIC, ECCENTRIC] + np.eye(2) * swing**2
    gain = np.linalg.solve(seen, spread[ECCENTRIC]).T
    at = solution.at(unknowns - gain @ unknowns[ECCENTRIC])
    return at, spread - gain @ spread[ECCENTRIC]


def polar_slopes(clamp: ClampError) -> F64:
    """Return d(angle, phase) / d(cosine, sine part) of a clamp error, shape (2, 2)."""
    cosine, sine = math.cos(clamp.phase_rad), math.sin(clamp.phase_rad)
    error = max(clamp.angle_rad, SMALLEST_ERROR_RAD)
    return np.array([[cosine, sine], [-sine / error, cosine / error]])


def _shaft_slopes(solution: Solution) -> F64:
    """Return d(elevation, clamp error) / d(coefficients of the elevation channel)."""
    scale = solution.turn.elevation_scale
    c0, cosine, sine = (float(v) * scale for v in solution.fit.fit.coefficients[:3, 0])
    amplitude = math.hypot(cosine, sine)
    _, clamp = axis_of(c0, cosine, sine)
    high = 1.0 / math.sqrt(max(1.0 - (c0 + amplitude) ** 2, 1e-300))
    low = 1.0 / math.sqrt(max(1.0 - (c0 - amplitude) ** 2, 1e-300))
    even, odd = (high + low) / 2.0, (high - low) / 2.0
    along = np.array([math.cos(clamp.phase_rad), math.sin(clamp.phase_rad)])
    aside = np.array([-along[1], along[0]])
    turned = clamp.angle_rad / amplitude if amplitude > SMALLEST_ERROR_RAD else even
    slopes = np.empty((3, 3))
    slopes[0, 0], slopes[0, 1:] = even, odd * along
    slopes[1:, 0] = odd * along
    slopes[1:, 1:] = even * np.outer(along, along) + turned * np.outer(aside, aside)
    return slopes * scale


def _line_slopes(solution: Solution) -> F64:
    """Return d(heading, eccentricity) / d(coefficients of the heading channel)."""
    lever = across(solution.axis_heading_rad)
    if lever is None:
        return np.diag([1.0, 0.0, 0.0])
    return np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0 / lever], [0.0, -1.0 / lever, 0.0]])


def _sway_slopes(solution: Solution) -> F64:
    """Return d(coefficients of the heading channel) / d(elevation, clamp error), shape (3, 3).

    The shaft's plan angle is taken from what the sightline shows; a port outward on the shaft
    gives a part of it back.
    """
    fit, line, clamp = solution.fit.fit, solution.line, solution.clamp
    least = ClampError(max(clamp.angle_rad, SMALLEST_ERROR_RAD), clamp.phase_rad)
    slopes = plan_angle_slopes(solution.elevation_rad, least, solution.spin_rad[fit.kept])
    slopes[1:] = polar_slopes(least).T @ slopes[1:]
    back = 0.0
    if line.length_m is not None:
        back = -math.cos(solution.axis_heading_rad) * line.port_left_m / line.length_m
    sloped: F64 = fit.design.inverse[:3] @ slopes.T * (back - 1.0)
    return sloped
