"""Repeat a regression whose right-hand side depends on its own answer, until it stands still.

A few plain passes do where the wheel angles are well spread. Where they stand close together
the passes may run away; then SciPy's general least squares finds the state of least residuals,
and Newton's method the one next to it that a pass leaves as it is.
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from calibration.harmonics import design, harmonic_matrix
from calibration.leastsquares import Design
from ingest.core.errors import MeasurementRefused
from ingest.geometry.attitude import wrapped
from ingest.geometry.clamp import plan_angle
from ingest.geometry.elevation import axis_of
from ingest.geometry.runout import Turn
from ingest.geometry.sightline import eccentric_motion, moved, port_motion
from ingest.geometry.solution import Solution, across

F64 = NDArray[np.float64]
MASK = NDArray[np.bool_]

PASSES = 8
FASTEST = 0.1
"""No pass is trusted to come nearer by more than this ratio, whatever the last one did."""
NEWTON_STEPS = 20
NEWTON_RAD = 1e-6
"""Step of Newton's difference quotients."""
MAX_WHOLE_CONDITION = 3e6
"""Above this, rounding alone would move the answer by some 1e-9 deg."""

SETTLED_RAD = 1e-14
"""The passes end when all that are still to come would move nothing by more than this,"""
NOISE_SHARE = 1e-5
"""... or by more than this part of the largest residual,"""
ROUNDING_RAD = 1e-11
"""... or when, below this, a step is no smaller than the one before."""


def settle(
    state: Solution, kept: MASK, orders: tuple[int, ...], factored: Design, max_condition: float
) -> tuple[Solution, F64, float]:
    """Repeat the regression of the kept rows until nothing moves.

    ``factored`` is the design of those rows at the state's own spin angles.

    Returns: the state, the right-hand side that led to it and the largest residual of that.

    Raises:
        NotEnoughRotation: the angles do not determine the coefficients.
        MeasurementRefused: ``steep``, or ``unsettled``: the angles stand too close together.
    """
    # The elevation first, by itself: the shaft's sway is not to pass for an eccentricity.
    state, *_ = _pass(state, kept, orders, factored, elevation_only=True)
    last, start = math.inf, state
    for _ in range(PASSES):
        after, right, largest = _pass(state, kept, orders, factored)
        step, state = state.distance(after), after
        ratio = max(step / last, FASTEST)
        to_come = step * ratio / (1.0 - ratio) if ratio < 1.0 else math.inf
        if step == 0.0 or to_come < max(SETTLED_RAD, NOISE_SHARE * largest):
            return state, right, largest
        last = step
    start = _descend(start, kept, orders)
    factored = design(start.spin_rad[kept], orders, max_condition=max_condition)
    return _newton(start, factored.condition, lambda at: _pass(at, kept, orders, factored))


def _descend(start: Solution, kept: MASK, orders: tuple[int, ...]) -> Solution:
    """Return the state of least residuals, by SciPy's general least squares."""

    def residuals(unknowns: F64) -> F64:
        at = start.at(unknowns)
        matrix = harmonic_matrix(at.spin_rad[kept], orders)
        rest, further = _left_over(at, kept, matrix, _right_hand_side(at))[0], matrix[:, 3:]
        rest -= further @ np.linalg.lstsq(further, rest, rcond=None)[0]
        return rest.ravel()

    best = optimize.least_squares(
        residuals, start.vector(), jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    return start.at(best.x)


def _newton(
    state: Solution,
    condition: float,
    one_pass: Callable[[Solution], tuple[Solution, F64, float]],
) -> tuple[Solution, F64, float]:
    """Return the state that a pass leaves as it is, as ``settle`` does.

    Raises:
        MeasurementRefused: ``unsettled``: there is none near, or rounding alone would move it.
    """
    step = last = math.inf
    for _ in range(NEWTON_STEPS):
        after, right, largest = one_pass(state)
        way = state.way_to(after)
        rows = np.eye(len(way)) * NEWTON_RAD
        there = [state.at(state.vector() + row) for row in rows]
        slopes = [(way - at.way_to(one_pass(at)[0])) / NEWTON_RAD for at in there]
        move, _, _, singular = np.linalg.lstsq(np.array(slopes).T, way, rcond=NEWTON_RAD)
        last, step = step, float(np.abs(move).max())
        if step < max(SETTLED_RAD, NOISE_SHARE * largest) or last <= step < ROUNDING_RAD:
            _refuse_amplified(condition / float(singular[singular > NEWTON_RAD].min()))
            return state, right, largest
        state = state.at(state.vector() + move)
    raise MeasurementRefused(
        "unsettled",
        f"the wheel angles stand too close together: after {NEWTON_STEPS} steps the fit still "
        f"moves by {math.degrees(step):.2g} deg, limit {math.degrees(ROUNDING_RAD):.2g} deg; "
        "turn further",
        figure=math.degrees(step),
        limit=math.degrees(ROUNDING_RAD),
    )


def _refuse_amplified(condition: float) -> None:
    """Hold the whole problem's condition against its limit: the regression's times the passes'."""
    if condition > MAX_WHOLE_CONDITION:
        raise MeasurementRefused(
            "unsettled",
            f"the wheel angles stand too close together: condition number {condition:.3g} with "
            f"the motion of the head, limit {MAX_WHOLE_CONDITION:.3g}; turn further",
            figure=condition,
            limit=MAX_WHOLE_CONDITION,
        )


def _pass(
    state: Solution,
    kept: MASK,
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
    matrix = factored.matrix  # Where the spin angle is read, no pass changes it.
    if state.turn.encoder is not None:
        matrix = harmonic_matrix(state.spin_rad[kept], orders)
    rest, coefficients = _left_over(state, kept, matrix, right)
    coefficients += factored.inverse @ rest
    return _advance(state, coefficients), right, float(np.abs(rest).max())


def _left_over(state: Solution, kept: MASK, matrix: F64, right: F64) -> tuple[F64, F64]:
    """Return what the state's own first harmonic leaves over, and its coefficients."""
    coefficients = np.zeros((matrix.shape[1], right.shape[1]))
    coefficients[:3, 0] = state.elevation_coefficients()
    return right[kept] - matrix @ coefficients, coefficients


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
