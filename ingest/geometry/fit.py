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
from calibration.harmonics import HarmonicFit, design
from calibration.leastsquares import fit_linear
from ingest.core.errors import MeasurementRefused
from ingest.geometry.arc import FEWEST_STOPS, covered_arc, distinct_stops
from ingest.geometry.clamp import ClampError
from ingest.geometry.knock import SCAN_ROWS, TIMES_KNOWN, refuse_unsteady
from ingest.geometry.motion import QUIET_RAD
from ingest.geometry.outcome import outcome
from ingest.geometry.runout import (
    BENT,
    ODD_STOP,
    UNSTEADY,
    Runout,
    RunoutLimits,
    Turn,
    refuse_uncertain,
)
from ingest.geometry.settling import settle
from ingest.geometry.sightline import Sightline
from ingest.geometry.solution import Solution
from ingest.geometry.stops import stop_in_doubt
from ingest.geometry.terms import ON_A_JACK, TurnTerms

F64 = NDArray[np.float64]

REJECTIONS = 4
SECOND_FROM_RAD = math.pi
"""On a shorter arc a second harmonic is all but a constant: it would cost more than it tells."""


def fit_runout(
    turn: Turn,
    *,
    sightline: Sightline | None = None,
    sigma_rad: float | None = None,
    limits: RunoutLimits | None = None,
    terms: TurnTerms = ON_A_JACK,
) -> Runout:
    """Fit spin axis, clamp error and, with azimuth, heading and eccentricity.

    Args:
        turn: the readings, in order of time, at three or more different angles.
        sightline: what is known of the sightline; default a level one of unknown length.
        sigma_rad: standard deviation of one reading; default from the residuals.
        limits: what the turn must reach.
        terms: what else moved the readings, such as the floor under a ``ROLLED`` wheel.

    Raises:
        MeasurementRefused: ``non-finite``, ``too-few-stops``, ``condition``, ``steep``,
            ``unsettled``, ``slip``, ``drift``, ``outliers``, ``scatter``, ``not-closed`` or
            ``u-too-large``.
    """
    limits = limits or RunoutLimits()
    refuse_unusable(turn)
    try:
        solution = _solve(turn, sightline or Sightline(), limits)
    except NotEnoughRotation as short:
        raise MeasurementRefused(
            "condition", str(short), figure=short.condition, limit=short.limit
        ) from short
    doubtful = refuse_unsteady(solution.spin_rad, solution.fit.fit, sigma_rad, terms)
    result = _with_hints(outcome(solution, sigma_rad, terms), solution, terms, doubtful)
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


def _with_hints(result: Runout, solution: Solution, terms: TurnTerms, doubtful: bool) -> Runout:
    """Return the result with words for what should be looked at."""
    hints, fit, second = [], solution.fit.fit, result.second
    odd = stop_in_doubt(fit, QUIET_RAD) if len(solution.turn) < SCAN_ROWS else None
    if second is not None and second.amplitude.value > TIMES_KNOWN * terms.floor_rad:
        hints.append(BENT)
    if doubtful:
        hints.append(UNSTEADY)
    if odd is not None:
        hints.append(ODD_STOP)
    return replace(result, hints=tuple(hints), odd_stop=odd) if hints else result


def _solve(turn: Turn, line: Sightline, limits: RunoutLimits) -> Solution:
    """Fit one harmonic; fit a second where the shaft's elevation proves it."""
    solution = _without_outliers(_begin(turn, line), (1,), limits)
    if covered_arc(solution.spin_rad) < SECOND_FROM_RAD:
        return solution
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
        spin = state.spin_rad
        factored = design(spin[kept], orders, max_condition=limits.condition)
        state, right, largest = settle(state, kept, orders, factored, limits.condition)
        if state.spin_rad is not spin or factored.rows < len(spin):
            factored = design(state.spin_rad, orders, max_condition=limits.condition)
        noisy = largest > QUIET_RAD or not kept.all()
        fit = fit_linear(factored, right, reject=noisy)
        same = np.array_equal(fit.kept, kept)
        kept, state = fit.kept, replace(state, regression=HarmonicFit(orders, fit))
        if same:
            break
    return state
