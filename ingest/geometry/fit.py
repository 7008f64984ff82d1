"""Fit the run-out of a turned wheel: one estimator for stops, a continuous turn and a short roll.

The elevation of the shaft alone gives the spin axis' elevation and the clamp error, exactly
(see ``elevation``). That cone says how the shaft's heading sways; what the levelled sightline
shows beyond it is the axis' heading and, as a first harmonic, the eccentricity of the clamp.
Both channels are fitted by one linear regression, repeated until what its right-hand side needs
(spin angle, plan angle of the shaft, motion of the port) stands still.

The linear fit of the whole cone (``cone.axis_from_known_turns``) would be simpler, but it takes
an eccentric clamp's swing for a part of the cone.
"""

import math

import numpy as np
from numpy.typing import NDArray

from calibration.errors import NotEnoughRotation
from calibration.harmonic_order import fit_proven
from calibration.harmonics import HarmonicFit, design
from calibration.leastsquares import fit_linear
from ingest.core.errors import MeasurementRefused
from ingest.geometry.arc import FEWEST_STOPS, distinct_stops
from ingest.geometry.attitude import sightline_to_shaft, spin_angle, wrapped
from ingest.geometry.clamp import ClampError, plan_angle
from ingest.geometry.elevation import axis_of
from ingest.geometry.knock import refuse_unsteady
from ingest.geometry.outcome import Solution, across, outcome
from ingest.geometry.runout import Runout, RunoutLimits, Turn, refuse_uncertain
from ingest.geometry.sightline import Sightline, eccentric_motion, moved, port_motion

F64 = NDArray[np.float64]

PASSES = 30
SETTLED_RAD = 1e-14
"""A pass that moves nothing by more than this is the last."""
ROUNDING_RAD = 1e-9
"""Below this a pass that moves things no less than the one before is the last."""


def fit_runout(
    turn: Turn,
    *,
    sightline: Sightline | None = None,
    sigma_rad: float | None = None,
    limits: RunoutLimits | None = None,
) -> Runout:
    """Fit spin axis, clamp error and, with azimuth, heading and eccentricity.

    Args:
        turn: the readings, in order of time, at three or more different angles.
        sightline: what is known of the sightline; default a level one of unknown length.
        sigma_rad: standard deviation of one reading; default from the residuals.
        limits: what the turn must reach.

    Raises:
        MeasurementRefused: ``non-finite``, ``too-few-stops``, ``condition``, ``steep``,
            ``slip``, ``outliers``, ``scatter``, ``not-closed`` or ``u-too-large``.
    """
    limits = limits or RunoutLimits()
    refuse_unusable(turn)
    try:
        solution = _solve(turn, sightline or Sightline(), limits)
    except NotEnoughRotation as short:
        raise MeasurementRefused(
            "condition", str(short), figure=short.condition, limit=short.limit
        ) from short
    refuse_unsteady(np.unwrap(solution.spin_rad), solution.fit.fit, sigma_rad)
    result = outcome(solution, sigma_rad)
    refuse_uncertain(result, limits)
    return result


def refuse_unusable(turn: Turn) -> None:
    """Raise ``MeasurementRefused`` for readings that are no numbers or too few angles."""
    for name, channel in turn.channels().items():
        bad = int((~np.isfinite(channel)).sum())
        if bad:
            raise MeasurementRefused(
                "non-finite",
                f"{bad} of {len(turn)} readings of {name} are not finite numbers, limit 0",
                figure=float(bad),
                limit=0.0,
            )
    distinct = distinct_stops(turn.rotation_rad)
    if distinct < FEWEST_STOPS:
        raise MeasurementRefused(
            "too-few-stops",
            f"{distinct} different wheel angles, at least {FEWEST_STOPS} are needed; turn further",
            figure=float(distinct),
            limit=float(FEWEST_STOPS),
        )


def _solve(turn: Turn, line: Sightline, limits: RunoutLimits) -> Solution:
    """Fit one harmonic; fit a second where the shaft's elevation proves it."""
    solution = _settle(turn, line, _begin(turn), (1,), limits)
    proven = fit_proven(
        solution.spin_rad, np.sin(turn.incl_y_rad), max_condition=limits.condition
    ).orders
    if proven == (1,):
        return solution
    return _settle(turn, line, solution, proven, limits)


def _begin(turn: Turn) -> Solution:
    """Return where the passes start: a clamp without error, a sightline that stands still."""
    elevation = float(np.mean(turn.incl_y_rad))
    spin = turn.rotation_rad
    if not turn.is_spin:
        spin = spin_angle(spin, turn.hung_rad, turn.incl_y_rad, 0.0, elevation)
    heading = 0.0
    if turn.azimuth_rad is not None:
        first = sightline_to_shaft(turn.azimuth_rad, turn.hung_rad, turn.incl_y_rad)
        heading = float(np.angle(np.exp(1j * first).sum()))
    return Solution(turn, Sightline(), spin, elevation, ClampError(0.0, 0.0), heading)


def _settle(
    turn: Turn, line: Sightline, state: Solution, orders: tuple[int, ...], limits: RunoutLimits
) -> Solution:
    """Repeat the regression until nothing moves any more."""
    state = state.on(line)
    factored = design(state.spin_rad, orders, max_condition=limits.condition)
    last = math.inf
    for _ in range(PASSES):
        fit = HarmonicFit(orders, fit_linear(factored, _right_hand_side(state), reject=True))
        after = _advance(state, fit)
        if not turn.is_spin:
            factored = design(after.spin_rad, orders, max_condition=limits.condition)
        step = state.distance(after)
        state = after
        if step < SETTLED_RAD or last <= step < ROUNDING_RAD:
            break
        last = step
    return state


def _right_hand_side(state: Solution) -> F64:
    """Return what is fitted, rad, shape (n, channels): elevation, and what is left of heading."""
    turn, line = state.turn, state.line
    elevation = np.sin(turn.incl_y_rad) / turn.elevation_scale
    if turn.azimuth_rad is None:
        return elevation[:, None]
    plan = plan_angle(state.elevation_rad, state.clamp, state.spin_rad)
    motion = port_motion(line, state.elevation_rad, plan, turn.hung_rad, turn.incl_y_rad)
    motion += eccentric_motion(state.elevation_rad, state.eccentric, state.spin_rad)
    turned, line_elevation = moved(line, state.axis_heading_rad, motion)
    shaft = sightline_to_shaft(turn.azimuth_rad, turn.hung_rad, turn.incl_y_rad, line_elevation)
    rest = wrapped(shaft - plan + turned - state.axis_heading_rad)
    return np.column_stack([elevation, rest])


def _advance(state: Solution, fit: HarmonicFit) -> Solution:
    """Return the state that a regression leads to."""
    turn, c = state.turn, fit.fit.coefficients
    elevation, clamp = axis_of(*(float(v) * turn.elevation_scale for v in c[:3, 0]))
    spin, heading, eccentric = state.spin_rad, state.axis_heading_rad, state.eccentric
    if not turn.is_spin:
        plan = plan_angle(elevation, clamp, spin)
        spin = spin_angle(turn.rotation_rad, turn.hung_rad, turn.incl_y_rad, plan, elevation)
    if turn.azimuth_rad is not None:
        heading = float(wrapped(heading + c[0, 1]))
        lever = across(heading)
        if lever is not None:
            eccentric = (eccentric[0] + c[2, 1] / lever, eccentric[1] - c[1, 1] / lever)
    return Solution(turn, state.line, spin, elevation, clamp, heading, eccentric, fit)
