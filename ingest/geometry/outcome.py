"""From a settled regression to a run-out with its uncertainty."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.harmonics import HarmonicFit
from calibration.measured import Measured, from_covariance, propagate
from ingest.geometry.arc import FEWEST_STOPS, TurnWorth, covered_arc
from ingest.geometry.runout import Eccentricity, Runout, RunoutEstimates
from ingest.geometry.solution import Solution, across
from ingest.geometry.spread import covariance, polar_slopes, with_prior

F64 = NDArray[np.float64]

SOURCE = "noise of the turn"
OWN_NOISE_DOF = 30
"""With so many degrees of freedom each channel's residuals tell its own noise; with fewer both
channels are taken to be equally noisy."""


def outcome(solution: Solution, sigma_rad: float | None) -> Runout:
    """Return the run-out that a settled solution stands for."""
    fit, turn = solution.fit, solution.turn
    used = fit.fit.kept
    rows, channels = int(used.sum()), fit.fit.residuals.shape[1]
    noise_rad, dof = _noise(fit, sigma_rad)
    spread, dilution = None, fit.dilution
    if noise_rad is not None:
        free = covariance(solution, noise_rad)
        solution, spread = with_prior(solution, free)
        if free[0, 0] > 0.0:
            dilution *= math.sqrt(float(spread[0, 0] / free[0, 0]))
    seen = turn.azimuth_rad is not None
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
            dilution=dilution,
        ),
        harmonics=max(fit.orders),
        dof=channels * fit.fit.dof,
        rms_rad=math.sqrt(float(fit.fit.rss.sum()) / (channels * rows)),
        sigma_rad=None if noise_rad is None else noise_rad[0],
        outliers=fit.fit.rejected,
        estimates=None if spread is None else _estimates(solution, spread, dof),
    )


def _noise(fit: HarmonicFit, sigma_rad: float | None) -> tuple[tuple[float, float] | None, float]:
    """Return the noise of a reading of elevation and sightline, and the degrees of freedom."""
    if sigma_rad is not None:
        return (sigma_rad, sigma_rad), math.inf
    each, channels = fit.fit.dof, fit.fit.residuals.shape[1]
    if each == 0:
        return None, 0.0
    if channels > 1 and each >= OWN_NOISE_DOF:
        elevation, line = (math.sqrt(float(rss) / each) for rss in fit.fit.rss)
        return (elevation, line), float(each)
    pooled = math.sqrt(float(fit.fit.rss.sum()) / (channels * each))
    return (pooled, pooled), float(channels * each)


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


def _estimates(solution: Solution, spread: F64, dof: float) -> RunoutEstimates:
    """Return the unknowns as estimates, the clamp error by angle and phase."""
    common: dict[str, Any] = {"source": SOURCE, "dof": dof}
    slopes = np.eye(len(spread))
    slopes[1:3, 1:3] = polar_slopes(solution.clamp)
    spread = slopes @ spread @ slopes.T
    values = [solution.elevation_rad, solution.clamp.angle_rad, solution.clamp.phase_rad]
    if solution.turn.azimuth_rad is None:
        return RunoutEstimates(*from_covariance(values, spread[:3, :3], **common))
    values += [_wheel(solution.axis_heading_rad), *solution.eccentric]
    elevation, angle, phase, heading, *offset = from_covariance(values, spread, **common)
    return RunoutEstimates(elevation, angle, phase, heading, _swing(solution, *offset))


def _swing(solution: Solution, cosine: Measured, sine: Measured) -> Measured | None:
    if across(solution.axis_heading_rad) is None:
        return None
    size = math.hypot(cosine.value, sine.value)
    gradient = (cosine.value / size, sine.value / size) if size > 0.0 else (1.0, 0.0)
    return propagate(size, gradient, (cosine, sine))
