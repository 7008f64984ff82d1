"""How well the readings of a turn determine its unknowns, alone and with what was known before.

GUM 5.2.2: the errors of the harmonics' coefficients are carried to the unknowns of
``Solution.vector``: elevation, clamp error (cosine and sine), heading, eccentricity (likewise).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.clamp import ClampError, plan_angle_slopes
from ingest.geometry.elevation import axis_slopes
from ingest.geometry.solution import Solution, across
from ingest.geometry.terms import TurnTerms

F64 = NDArray[np.float64]

UNKNOWNS = 6
ECCENTRIC = slice(4, 6)
SMALLEST_ERROR_RAD = 1e-9
"""Keeps the slopes by a clamp error's direction finite where there is none."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Errors of the unknowns, by what they stand on, rad, shape (6, k) each.

    Columns are independent errors of one standard deviation, so that a part times its transpose
    is a covariance. ``noise``: of the readings; ``clamp``: how far off centre a clamp sits;
    ``terms``: what else moved the readings during the turn. No columns: no such part.
    """

    noise: F64
    clamp: F64
    terms: F64


def spread_of(
    solution: Solution, noise_rad: tuple[float, float], terms: TurnTerms
) -> tuple[Solution, Spread]:
    """Return the solution with what was known before weighed in, and its covariance.

    A clamp sits nearly on centre. The sightline's first harmonic is the cone's sway and the
    eccentricity of the clamp together. That the latter is small is one more pair of readings:
    zero, with the standard deviation that the sightline states. So the sightline tells of the
    cone as far as that allows, which on a short roll is most of what is known (a linear update
    by least squares; the free fit is its start, and so near that nothing is left to repeat).
    What moves the elevation alone, as an uneven floor does, gives the sightline more weight.

    Not weighed where the sightline states neither length nor deviation, or does not see it.

    Args:
        solution: a settled one.
        noise_rad: standard deviation of one reading of the elevation and of the sightline.
        terms: what else moved the readings.
    """
    slopes = _slopes(solution)
    free = Spread(
        noise=_noise(solution, slopes, noise_rad),
        clamp=np.empty((UNKNOWNS, 0)),
        terms=_moved(solution, slopes, terms),
    )
    swing = solution.line.offset_swing
    if swing is None or solution.turn.plane is None or across(solution.axis_heading_rad) is None:
        return solution, free
    errors = np.hstack([free.noise, free.terms])
    offset = errors[ECCENTRIC]
    seen = offset @ offset.T + np.eye(2) * swing**2
    gain = np.asarray(np.linalg.solve(seen, offset @ errors.T).T, dtype=np.float64)
    unknowns = solution.vector()
    keep = np.eye(UNKNOWNS)
    keep[:, ECCENTRIC] -= gain
    held = solution.at(unknowns - gain @ unknowns[ECCENTRIC])
    return held, Spread(noise=keep @ free.noise, clamp=gain * swing, terms=keep @ free.terms)


def _noise(solution: Solution, slopes: F64, noise_rad: tuple[float, float]) -> F64:
    """Return the errors from the noise of the readings alone."""
    root = np.linalg.cholesky(solution.fit.fit.design.cofactor[:3, :3])
    both = np.zeros((UNKNOWNS, UNKNOWNS))
    both[:3, :3] = root * noise_rad[0]
    if solution.turn.plane is not None:
        both[3:, 3:] = root * noise_rad[1]
    result: F64 = slopes @ both
    return result


def _moved(solution: Solution, slopes: F64, terms: TurnTerms) -> F64:
    """Return the errors from what moved the elevation and is no noise."""
    shapes, fit = terms.shapes(solution.spin_rad), solution.fit.fit
    columns: F64 = slopes[:, :3] @ (fit.design.inverse[:3] @ shapes[:, fit.kept].T)
    return columns


def _slopes(solution: Solution) -> F64:
    """Return d(unknowns) / d(first coefficients of elevation, of heading), shape (6, 6).

    Without a sightline all but the first three rows and columns are zero.
    """
    slopes = np.zeros((UNKNOWNS, UNKNOWNS))
    slopes[:3, :3] = _shaft_slopes(solution)
    if solution.turn.plane is not None:
        line = _line_slopes(solution)
        slopes[3:, 3:] = line
        slopes[3:, :3] = line @ _sway_slopes(solution) @ slopes[:3, :3]
    return slopes


def polar_slopes(clamp: ClampError) -> F64:
    """Return d(angle, phase) / d(cosine, sine part) of a clamp error, shape (2, 2)."""
    cosine, sine = math.cos(clamp.phase_rad), math.sin(clamp.phase_rad)
    error = max(clamp.angle_rad, SMALLEST_ERROR_RAD)
    return np.array([[cosine, sine], [-sine / error, cosine / error]])


def _shaft_slopes(solution: Solution) -> F64:
    """Return d(elevation, clamp error) / d(coefficients of the elevation channel)."""
    scale = solution.turn.elevation_scale
    c0, cosine, sine = (float(v) * scale for v in solution.fit.fit.coefficients[:3, 0])
    return axis_slopes(c0, cosine, sine) * scale


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
