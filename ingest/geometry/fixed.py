"""The run-out of a head that is fixed to its wheel and turns with it.

Gravity, seen from such a head, goes round the spin axis: the tips of the vectors lie on a plane
whose normal is the axis in the head's own frame and whose distance from the origin is the sine
of the axis' elevation (see ``cone``). So neither an encoder nor a sightline is needed, and where
the head sits on the wheel does not matter.

The wheel's turn is that of gravity about the head's left axis, 0 with the head upright; the
clamp's error has its phase in that angle, as it has for a hanging head in its own.
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.leastsquares import factor, fit_linear
from calibration.measured import Measured, from_covariance, propagate
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.arc import FEWEST_STOPS, TurnWorth, covered_arc, distinct_stops
from ingest.geometry.carry import SettledWheel
from ingest.geometry.clamp import ClampError
from ingest.geometry.cone import axis_from_unknown_turns
from ingest.geometry.knock import SCAN_ROWS, refuse_unsteady
from ingest.geometry.outcome import MOVED, SOURCE
from ingest.geometry.runout import Runout, RunoutEstimates, RunoutLimits, refuse_uncertain
from ingest.geometry.terms import ON_A_JACK, TurnTerms

F64 = NDArray[np.float64]

LARGEST_ERROR_RAD = math.radians(30.0)
"""A head that sits more askew than this on its wheel is no head on a wheel."""

SCATTER_CHANCE = 1e-5
"""Probability below which the residuals are too large for the noise that was stated."""

SMALLEST_ERROR = 1e-12
"""Keeps the slopes of a phase finite where the clamp sits true."""


def turn_of_gravity(incl_x_rad: F64, incl_z_rad: F64) -> F64:
    """Return the wheel's turn that a head fixed to it sees, forward rolling positive, rad."""
    return np.asarray(np.arctan2(-np.sin(incl_x_rad), np.sin(incl_z_rad)), dtype=np.float64)


def fit_fixed(
    elevations_rad: F64,
    *,
    sigma_rad: float | None = None,
    limits: RunoutLimits | None = None,
    terms: TurnTerms = ON_A_JACK,
) -> Runout:
    """Fit spin axis and clamp error.

    Args:
        elevations_rad: incl_x, incl_y and incl_z, shape (3, n), at three or more turns.
        sigma_rad: standard deviation of one reading; default from the residuals (dof n - 3).
        limits: what the turn must reach.
        terms: what else moved the readings, such as the floor under a ``ROLLED`` wheel.

    Raises:
        MeasurementRefused: ``non-finite``, ``too-few-stops``, ``condition``, ``steep``,
            ``slip``, ``drift``, ``scatter`` or ``u-too-large``.
    """
    limits = limits or RunoutLimits()
    _refuse_unusable(elevations_rad)
    vectors = np.sin(elevations_rad).T
    axis = axis_from_unknown_turns(vectors).axis
    axis = axis if axis[1] > 0.0 else -axis
    plane = _in_plane(axis)
    design = np.column_stack([np.ones(len(vectors)), vectors @ plane.T])
    turned_rad = turn_of_gravity(elevations_rad[0], elevations_rad[2])
    worth = _worth(turned_rad, design)
    _refuse("condition", "condition number of the turn", worth.condition, limits.condition)
    aside = math.hypot(axis[0], axis[2])
    clamp = ClampError(math.atan2(aside, axis[1]), math.atan2(axis[0], -axis[2]))
    lean_deg, most_deg = math.degrees(clamp.angle_rad), math.degrees(LARGEST_ERROR_RAD)
    _refuse("steep", "angle between head and spin axis, deg,", lean_deg, most_deg)
    along = vectors @ axis
    rss, dof = float(np.sum((along - along.mean()) ** 2)), worth.n - FEWEST_STOPS
    if worth.n >= SCAN_ROWS:
        refuse_unsteady(turned_rad, fit_linear(factor(design), along), sigma_rad, terms)
    known_rad = math.hypot(terms.floor_rad, terms.drift_rad)
    _refuse_scatter(rss, dof, None if sigma_rad is None else math.hypot(sigma_rad, known_rad))
    sigma = sigma_rad if sigma_rad is not None else math.sqrt(rss / dof) if dof else None
    runout = Runout(
        elevation_rad=math.asin(float(along.mean())),
        clamp=clamp,
        heading_rad=None,
        eccentricity=None,
        worth=worth,
        harmonics=1,
        dof=dof,
        rms_rad=math.sqrt(rss / worth.n),
        sigma_rad=sigma,
        outliers=(),
        estimates=None,
    )
    if sigma is not None:
        inverse = np.linalg.pinv(design)
        noise, moved = inverse * sigma, inverse @ terms.shapes(turned_rad).T
        freedom = math.inf if sigma_rad is not None else float(dof)
        estimates = _estimates(runout, plane, (noise @ noise.T, moved @ moved.T), freedom)
        runout = replace(runout, estimates=estimates)
    refuse_uncertain(runout, limits)
    return runout


def settled_fixed(
    elevations: tuple[Measured, Measured, Measured],
    clamp_angle: Measured,
    clamp_phase: Measured,
    side: Side,
) -> SettledWheel:
    """Return a wheel at rest: the elevation of the axis that the turn found in the head.

    ``elevations``: incl_x, incl_y and incl_z at rest. What a calibration leaves open of scale
    and cross-axes was the same during the turn and mostly cancels; counted in full here, it
    makes the uncertainty rather too large. No heading, since there is no sightline.
    """
    e, phase = clamp_angle.value, clamp_phase.value
    cos_e, sin_e, cos_p, sin_p = math.cos(e), math.sin(e), math.cos(phase), math.sin(phase)
    axis = np.array([sin_e * sin_p, cos_e, -sin_e * cos_p])
    by_angle = np.array([cos_e * sin_p, -sin_e, -cos_e * cos_p])
    by_phase = np.array([sin_e * cos_p, 0.0, sin_e * sin_p])
    read = np.array([each.value for each in elevations])
    gravity = np.sin(read)
    elevation = math.asin(float(axis @ gravity))
    slopes = [*(axis * np.cos(read)), by_angle @ gravity, by_phase @ gravity]
    gradient = [-side.sign * float(slope) / math.cos(elevation) for slope in slopes]
    camber = propagate(-side.sign * elevation, gradient, [*elevations, clamp_angle, clamp_phase])
    return SettledWheel(camber, None)


def _in_plane(axis: F64) -> F64:
    """Return two unit vectors square to the axis and to each other, shape (2, 3)."""
    forward = np.cross(axis, [0.0, 0.0, 1.0])
    forward /= np.linalg.norm(forward)
    return np.stack([forward, np.cross(forward, axis)])


def _worth(turn_rad: F64, design: F64) -> TurnWorth:
    n, condition = len(turn_rad), float(np.linalg.cond(design))
    cofactor = np.linalg.pinv(design.T @ design)
    dilution = math.sqrt(n * max(float(cofactor[0, 0]), 0.0))
    return TurnWorth(n, covered_arc(turn_rad), distinct_stops(turn_rad), condition, dilution)


def _estimates(
    runout: Runout, plane: F64, covariances: tuple[F64, F64], dof: float
) -> RunoutEstimates:
    """Carry the plane's offset and slopes to elevation, angle and phase (GUM 5.2.2).

    A plane fitted as ``left = offset + p forward + q up`` leans by -p and -q. The covariances
    are those of the readings' noise and of what else moved them.
    """
    elevation, clamp = runout.elevation_rad, runout.clamp
    cosine_sine = -plane[:, [2, 0]].T * [[-1.0], [1.0]]
    cos_p, sin_p = math.cos(clamp.phase_rad), math.sin(clamp.phase_rad)
    size = max(math.sin(clamp.angle_rad), SMALLEST_ERROR)
    polar = np.array([[cos_p, sin_p], [-sin_p, cos_p]])
    polar /= [[math.cos(clamp.angle_rad)], [size]]
    slopes = np.zeros((3, 3))
    slopes[0, 0] = 1.0 / math.cos(elevation)
    slopes[1:, 1:] = polar @ cosine_sine
    values = [elevation, clamp.angle_rad, clamp.phase_rad]
    noise, moved = (slopes @ each @ slopes.T for each in covariances)
    found = from_covariance(values, noise, source=SOURCE, dof=dof)
    if moved.any():
        more = from_covariance([0.0] * len(values), moved, source=MOVED)
        found = tuple(one + other for one, other in zip(found, more, strict=True))
    return RunoutEstimates(*found)


def _refuse_unusable(elevations_rad: F64) -> None:
    bad = int((~np.isfinite(elevations_rad)).any(axis=0).sum())
    _refuse("non-finite", "readings that are not finite numbers", float(bad), 0.0)
    turn = turn_of_gravity(elevations_rad[0], elevations_rad[2])
    distinct = distinct_stops(turn)
    if distinct < FEWEST_STOPS:
        raise MeasurementRefused(
            "too-few-stops",
            f"{distinct} different angles, at least {FEWEST_STOPS} are needed; turn further",
            figure=float(distinct),
            limit=float(FEWEST_STOPS),
        )


def _refuse_scatter(rss: float, dof: int, sigma_rad: float | None) -> None:
    if sigma_rad is None or not dof:
        return
    limit = float(special.chdtri(dof, SCATTER_CHANCE))
    _refuse("scatter", "chi-square of the residuals", rss / sigma_rad**2, limit)


def _refuse(code: str, what: str, figure: float, limit: float) -> None:
    if not figure <= limit:
        text = f"{what} is {figure:.4g}, limit {limit:.4g}; turn the wheel again"
        raise MeasurementRefused(code, text, figure=figure, limit=limit)
