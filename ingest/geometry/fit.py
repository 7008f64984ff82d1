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
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import NotEnoughRotation
from calibration.harmonic_order import proven_orders
from calibration.harmonics import HarmonicFit, design, harmonic_matrix
from calibration.leastsquares import Design, fit_linear
from ingest.core.errors import MeasurementRefused
from ingest.geometry.arc import FEWEST_STOPS, distinct_stops
from ingest.geometry.attitude import wrapped
from ingest.geometry.clamp import ClampError, plan_angle
from ingest.geometry.elevation import axis_of
from ingest.geometry.knock import refuse_unsteady
from ingest.geometry.outcome import Solution, across, outcome
from ingest.geometry.runout import Runout, RunoutLimits, Turn, refuse_uncertain
from ingest.geometry.sightline import Sightline, eccentric_motion, moved, port_motion

F64 = NDArray[np.float64]

PASSES = 60
FASTEST = 0.1
"""No pass is trusted to come nearer by more than this ratio, whatever the last one did."""
REFRESH_EVERY = 8
REJECTIONS = 4
QUIET_RAD = 1e-7
"""No sensor of this kind shows less; smaller residuals are rounding, and no outliers."""
JUMP_EVERY = 4
JUMP_FROM, JUMP_TO = 0.2, 3.0
"""A jump pays between these ratios of a step to the one before."""

SETTLED_RAD = 1e-14
"""The passes end when all that are still to come would move nothing by more than this,"""
NOISE_SHARE = 1e-4
"""... or by more than this part of the largest residual,"""
ROUNDING_RAD = 1e-12
"""... or when, below this, a pass moves no less than the one before."""


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
    refuse_unsteady(solution.spin_rad, solution.fit.fit, sigma_rad)
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
    solution = _without_outliers(_begin(turn, line), (1,), limits)
    orders = proven_orders(
        solution.spin_rad,
        turn.elevation_sine,
        reject=not solution.fit.fit.kept.all(),
        max_condition=limits.condition,
    )
    return solution if orders == (1,) else _without_outliers(solution, orders, limits)


def _begin(turn: Turn, line: Sightline) -> Solution:
    """Return where the passes start: a clamp without error, a sightline that stands still."""
    elevation = float(np.mean(turn.incl_y_rad))
    spin = turn.rotation_rad
    if turn.encoder is not None:
        spin = turn.encoder.spin_angle(0.0, elevation)
    heading = 0.0
    if turn.plane is not None:
        first = turn.plane.sightline_to_shaft(line.elevation_rad)
        heading = float(np.angle(np.exp(1j * first).sum()))
    return Solution(turn, line, spin, elevation, ClampError(0.0, 0.0), heading)


def _without_outliers(state: Solution, orders: tuple[int, ...], limits: RunoutLimits) -> Solution:
    """Settle on all readings, then on those that fit, until no more are rejected."""
    kept = np.ones(len(state.turn), dtype=np.bool_)
    for _ in range(REJECTIONS):
        state, right, largest = _settle(state, kept, orders, limits)
        factored = design(state.spin_rad, orders, max_condition=limits.condition)
        noisy = largest > QUIET_RAD or not kept.all()
        fit = fit_linear(factored, right, reject=noisy)
        same = np.array_equal(fit.kept, kept)
        kept, state = fit.kept, replace(state, regression=HarmonicFit(orders, fit))
        if same:
            break
    return state


def _settle(
    state: Solution, kept: NDArray[np.bool_], orders: tuple[int, ...], limits: RunoutLimits
) -> tuple[Solution, F64, float]:
    """Repeat the regression of the kept rows until nothing moves.

    Return the state, the right-hand side that led to it and the largest residual of that.

    A few passes do where the angles are well spread. Where they stand close together the
    passes come nearer in a slow row; then every fourth one jumps to where the row leads.

    Raises:
        MeasurementRefused: ``unsettled``: the angles stand so close together that the passes
            lead nowhere.
    """
    last, before, step = math.inf, np.zeros(6), math.inf
    # The elevation first, by itself: the shaft's sway is not to pass for an eccentricity.
    factored = design(state.spin_rad[kept], orders, max_condition=limits.condition)
    state, *_ = _pass(state, kept, orders, factored, elevation_only=True)
    for number in range(1, PASSES):
        if number % REFRESH_EVERY == 0:
            factored = design(state.spin_rad[kept], orders, max_condition=limits.condition)
        after, right, largest = _pass(state, kept, orders, factored)
        step, moved_by = state.distance(after), state.way_to(after)
        state = after
        ratio = max(step / last, FASTEST)
        to_come = step * ratio / (1.0 - ratio) if ratio < 1.0 else math.inf
        if step == 0.0 or to_come < max(SETTLED_RAD, NOISE_SHARE * largest):
            return state, right, largest
        if last <= step < ROUNDING_RAD:
            return state, right, largest
        last = step
        if number % JUMP_EVERY == 0:
            state, last = _jump(state, moved_by, before), math.inf
        before = moved_by
    raise MeasurementRefused(
        "unsettled",
        f"the wheel angles stand too close together: after {PASSES} passes the fit still moves "
        f"by {math.degrees(step):.2g} deg, limit {math.degrees(SETTLED_RAD):.2g} deg; turn further",
        figure=math.degrees(step),
        limit=math.degrees(SETTLED_RAD),
    )


def _pass(
    state: Solution,
    kept: NDArray[np.bool_],
    orders: tuple[int, ...],
    factored: Design,
    *,
    elevation_only: bool = False,
) -> tuple[Solution, F64, float]:
    """Return the state that one regression leads to, its right-hand side, the largest residual.

    ``factored`` may be that of slightly other angles: what the present coefficients leave over
    is regressed, so that only the corrections see the difference.
    """
    right = _elevation(state.turn) if elevation_only else _right_hand_side(state)
    coefficients = np.zeros((factored.matrix.shape[1], right.shape[1]))
    coefficients[:3, 0] = state.elevation_coefficients()
    rest = right[kept] - harmonic_matrix(state.spin_rad[kept], orders) @ coefficients
    coefficients += factored.inverse @ rest
    return _advance(state, coefficients), right, float(np.abs(rest).max())


def _jump(state: Solution, moved_by: F64, before: F64) -> Solution:
    """Go to the end of a row of passes whose steps keep their ratio (Aitken's delta squared)."""
    size = float(before @ before)
    ratio = float(moved_by @ before) / size if size > 0.0 else 0.0
    if not JUMP_FROM < abs(ratio) < JUMP_TO or abs(1.0 - ratio) < 0.1:
        return state
    return state.at(state.vector() + moved_by * (ratio / (1.0 - ratio)))


def _right_hand_side(state: Solution) -> F64:
    """Return what is fitted, rad, shape (n, channels): elevation, and what is left of heading."""
    turn, line = state.turn, state.line
    if turn.plane is None:
        return _elevation(turn)
    plan = plan_angle(state.elevation_rad, state.clamp, state.spin_rad)
    motion = eccentric_motion(state.elevation_rad, state.eccentric, state.spin_rad)
    if line.length_m is not None:
        motion += port_motion(line, state.elevation_rad, plan, turn.hung_rad, turn.incl_y_rad)
    turned, line_elevation = moved(line, state.axis_heading_rad, motion)
    shaft = turn.plane.sightline_to_shaft(line_elevation)
    rest = wrapped(shaft - plan + turned - state.axis_heading_rad)
    return np.column_stack([_elevation(turn), rest])


def _elevation(turn: Turn) -> F64:
    """Return the elevation channel, sines scaled to radians, shape (n, 1)."""
    return turn.elevation_sine[:, None] / turn.elevation_scale


def _advance(state: Solution, c: F64) -> Solution:
    """Return the state that the regression's coefficients, shape (p, channels), lead to."""
    turn = state.turn
    elevation, clamp = axis_of(*(float(v) * turn.elevation_scale for v in c[:3, 0]))
    spin, heading, eccentric = state.spin_rad, state.axis_heading_rad, state.eccentric
    if turn.encoder is not None:
        spin = turn.encoder.spin_angle(plan_angle(elevation, clamp, spin), elevation)
    if c.shape[1] > 1:
        heading = math.remainder(heading + float(c[0, 1]), 2.0 * math.pi)
        lever = across(heading)
        if lever is not None:
            eccentric = (
                eccentric[0] + float(c[2, 1]) / lever,
                eccentric[1] - float(c[1, 1]) / lever,
            )
    return Solution(turn, state.line, spin, elevation, clamp, heading, eccentric)
