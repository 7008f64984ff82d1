"""From a settled regression to a run-out with its uncertainty."""

import math

import numpy as np
from numpy.typing import NDArray

from calibration.harmonics import HarmonicFit
from calibration.measured import Measured, Part, Source, from_covariance, propagate
from ingest.geometry.arc import FEWEST_STOPS, TurnWorth, covered_arc
from ingest.geometry.clamp import ClampError
from ingest.geometry.runout import Eccentricity, Runout, RunoutEstimates, SecondHarmonic
from ingest.geometry.solution import Solution, across
from ingest.geometry.spread import Spread, polar_slopes, spread_of
from ingest.geometry.terms import TurnTerms

F64 = NDArray[np.float64]

SOURCE = "noise of the turn"
CENTRING = "centring of the clamp"
MOVED = "floor and drift during the turn"
SECOND = 2
OWN_NOISE_DOF = 30
"""With so many degrees of freedom each channel's residuals tell its own noise; with fewer both
channels are taken to be equally noisy."""


def outcome(solution: Solution, sigma_rad: float | None, terms: TurnTerms) -> Runout:
    """Return the run-out that a settled solution stands for."""
    fit, turn = solution.fit, solution.turn
    used = fit.fit.kept
    rows, channels = int(used.sum()), fit.fit.residuals.shape[1]
    noise_rad, dof = _noise(fit, sigma_rad)
    spread, dilution = None, fit.dilution
    if noise_rad is not None:
        solution, spread = spread_of(solution, noise_rad, terms)
        if spread.clamp.size and noise_rad[0] > 0.0:
            held = np.concatenate([spread.noise[0], spread.clamp[0]])
            dilution = math.sqrt(rows * float(held @ held)) / noise_rad[0]
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
        second=None if noise_rad is None else _second(fit, noise_rad[0], dof),
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


def _second(fit: HarmonicFit, noise_rad: float, dof: float) -> SecondHarmonic | None:
    """Return the elevation's second harmonic with its uncertainty, where it was fitted."""
    if SECOND not in fit.orders:
        return None
    at = slice(1 + 2 * fit.orders.index(SECOND), 3 + 2 * fit.orders.index(SECOND))
    error = ClampError(float(fit.amplitude(SECOND)[0]), SECOND * float(fit.phase_rad(SECOND)[0]))
    slopes = polar_slopes(error)
    slopes[1] /= SECOND
    spread: F64 = slopes @ fit.fit.design.cofactor[at, at] @ slopes.T * noise_rad**2
    values = [error.angle_rad, error.phase_rad / SECOND]
    return SecondHarmonic(*from_covariance(values, spread, source=SOURCE, dof=dof))


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


def _estimates(solution: Solution, spread: Spread, dof: float) -> RunoutEstimates:
    """Return the unknowns as estimates, the clamp error by angle and phase."""
    values = [solution.elevation_rad, solution.clamp.angle_rad, solution.clamp.phase_rad]
    seen = solution.turn.azimuth_rad is not None
    if seen:
        values += [_wheel(solution.axis_heading_rad), *solution.eccentric]
    slopes = np.eye(len(spread.noise))
    slopes[1:3, 1:3] = polar_slopes(solution.clamp)
    sources = ((SOURCE, dof, spread.noise), (CENTRING, math.inf, spread.clamp))
    parts: list[list[Part]] = [[] for _ in values]
    for name, freedom, errors in (*sources, (MOVED, math.inf, spread.terms)):
        if not errors.size:
            continue
        source = Source(name, freedom)
        for each, row in zip(parts, (slopes @ errors).tolist(), strict=False):
            each.append(Part(source, tuple(row)))
    found = [Measured(value, tuple(each)) for value, each in zip(values, parts, strict=True)]
    if not seen:
        return RunoutEstimates(*found)
    elevation, angle, phase, heading, *offset = found
    return RunoutEstimates(elevation, angle, phase, heading, _swing(solution, *offset))


def _swing(solution: Solution, cosine: Measured, sine: Measured) -> Measured | None:
    if across(solution.axis_heading_rad) is None:
        return None
    size = math.hypot(cosine.value, sine.value)
    gradient = (cosine.value / size, sine.value / size) if size > 0.0 else (1.0, 0.0)
    return propagate(size, gradient, (cosine, sine))
