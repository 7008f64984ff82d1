"""Has the clamp slipped, or the head been knocked, while the wheel was turned?

A slip leaves a step in the residuals. Every possible place of it is tried at once: the step is
one more column of the regression, and its t value follows from running sums. A drift is one
more such column.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.leastsquares import LinearFit
from ingest.core.errors import MeasurementRefused
from ingest.geometry.arc import FULL_TURN_RAD
from ingest.geometry.stops import scatter, stop_to_distrust
from ingest.geometry.terms import TurnTerms

F64 = NDArray[np.float64]

CHANCE = 1e-5
"""Clean normal readings are refused in fewer cases than this."""
DOUBT = 1e-2
"""... and looked at twice in fewer than this."""
LEAST_DOF = 2
TIMES_KNOWN = 3.0
"""A motion is none of those counted beforehand when it is so many times their deviation."""
SCAN_ROWS = 8
"""The scan for a step needs this many readings; fewer are held against the stated noise."""
SEGMENT = 3
"""A step has at least this many readings on each side; fewer are outliers."""
SMALLEST_STEP_RAD = math.radians(0.002)
"""A smaller step is not called a slip, however surely the readings show it."""
OUTLIER_SHARE = 0.3
"""A turn with a larger share of rejected readings is not trusted."""
OUTLIER_RUN = 5
"""So many rejected neighbours on one side of the curve were not thrown there by chance."""
CLOSED_RAD = math.radians(2.0)
"""Stops this close together, a turn apart, close the turn."""
CLOSURE_RAD = math.radians(0.1)
"""The largest closing difference of a turn whose noise is not stated."""


def refuse_unsteady(
    spin_rad: F64, fit: LinearFit, sigma_rad: float | None, terms: TurnTerms
) -> bool:
    """Refuse a turn during which something moved that should not have.

    Args:
        spin_rad: spin angle in order of time, shape (n,).
        fit: the regression of all channels, rad, in the same order.
        sigma_rad: standard deviation of one reading, where stated.
        terms: what moves the readings, is known to do so, and is counted.

    Returns: whether something may have moved by less than is refused.

    Raises:
        MeasurementRefused: ``slip``, ``drift``, ``outliers``, ``scatter`` or ``not-closed``; the
            figure is in degrees, for ``outliers`` a count.
    """
    _refuse_outliers(fit)
    if fit.design.rows >= SCAN_ROWS:
        return fit.dof >= LEAST_DOF and _refuse_motion(fit, terms)
    if sigma_rad is not None and fit.dof > 0:
        _refuse_scatter(fit, sigma_rad)
    _refuse_open(np.unwrap(spin_rad), fit, sigma_rad)
    return False


@dataclass(frozen=True, slots=True)
class Motion:
    """The motion that the residuals speak for most: its size, its \\|t\\|, and from where.

    ``before`` is the kept row that a step is before, None for a steady drift over all rows.
    """

    size_rad: float
    t: float
    before: int | None


def largest_step(fit: LinearFit) -> Motion:
    """Return the most significant step."""
    matrix, rest = fit.design.matrix, fit.residuals[fit.kept]
    n = len(rest)
    after = np.arange(n - SEGMENT, SEGMENT - 1, -1)
    ahead = np.cumsum(matrix[::-1], axis=0)[::-1][after]
    length = (n - after) - ((ahead @ fit.design.cofactor) * ahead).sum(axis=1)
    product = np.cumsum(rest[::-1], axis=0)[::-1][after]
    room = np.maximum(length, 1e-9 * n)[:, None]
    t = _t_value(fit, np.square(product) / room)
    row, channel = np.unravel_index(int(np.argmax(t)), t.shape)
    step = float(product[row, channel] / room[row, 0])
    return Motion(step, float(t[row, channel]), int(after[row]))


def steady_drift(fit: LinearFit) -> Motion:
    """Return the drift from the first reading to the last that the residuals speak for.

    On a short arc a drift is a part of the harmonic, and its size means nothing.
    """
    rest = fit.residuals[fit.kept]
    ramp = np.linspace(0.0, 1.0, len(rest))
    length = float(ramp @ ramp - np.square(fit.design.basis.T @ ramp).sum())
    product = ramp @ rest
    room = max(length, 1e-9 * len(rest))
    t = _t_value(fit, np.square(product) / room)
    channel = int(np.argmax(t))
    return Motion(float(product[channel]) / room, float(t[channel]), None)


def _t_value(fit: LinearFit, gain: F64) -> F64:
    """Return the \\|t\\| of a further column that lessens the sum of squares by so much."""
    left = np.maximum(fit.rss - gain, 1e-300) / max(fit.dof - 1, 1)
    t: F64 = np.sqrt(gain / left)
    return t


def _refuse_motion(fit: LinearFit, terms: TurnTerms) -> bool:
    """Refuse a step or a drift beyond doubt; say whether a lesser one may be there."""
    tests = 2.0 * (fit.design.rows + 1) * fit.residuals.shape[1]
    limit, doubt = special.stdtrit(fit.dof - 1, 1.0 - np.array([CHANCE, DOUBT]) / tests)
    spread = float(np.sqrt(fit.rss.sum() / (fit.dof * fit.residuals.shape[1])))
    found = max(largest_step(fit), steady_drift(fit), key=lambda each: each.t)
    known = TIMES_KNOWN * math.hypot(terms.floor_rad, terms.drift_rad)
    least = max(SMALLEST_STEP_RAD, known)
    if found.t > limit and abs(found.size_rad) > max(least, spread):
        raise _moved(found, float(limit), least, fit)
    return bool(found.t > doubt) and abs(found.size_rad) > known


def _moved(found: Motion, limit: float, least_rad: float, fit: LinearFit) -> MeasurementRefused:
    size_deg, what = math.degrees(found.size_rad), f"t = {found.t:.1f}, limit {limit:.1f}"
    if found.before is None:
        code = "drift"
        text = (
            f"the readings drift by {size_deg:.3f} deg over the turn ({what}); let the head take "
            "on the temperature of the bay, then turn again"
        )
    else:
        code, reading = "slip", int(np.flatnonzero(fit.kept)[found.before]) + 1
        text = (
            f"the readings step by {size_deg:.3f} deg before reading {reading} ({what}); "
            "the clamp slipped or the head was knocked: seat it and turn again"
        )
    least_deg = math.degrees(max(least_rad, limit * abs(found.size_rad) / found.t))
    return MeasurementRefused(code, text, figure=abs(size_deg), limit=least_deg)


def _refuse_outliers(fit: LinearFit) -> None:
    if fit.kept.all():
        return
    bad = ~fit.kept
    count, allowed = int(bad.sum()), int(OUTLIER_SHARE * len(bad))
    run = _longest_run(bad, fit.residuals)
    if count > allowed or run >= OUTLIER_RUN:
        figure, limit = (count, allowed) if count > allowed else (run, OUTLIER_RUN - 1)
        raise MeasurementRefused(
            "outliers",
            f"{count} of {len(bad)} readings do not fit the others, {run} of them in a row to "
            f"one side (allowed {allowed}, {OUTLIER_RUN - 1} in a row); the clamp slipped or "
            "the head was knocked: seat it and turn again",
            figure=float(figure),
            limit=float(limit),
        )


def _longest_run(bad: NDArray[np.bool_], residuals: F64) -> int:
    """Return the longest run of neighbouring rejected rows to one side, in any channel."""
    longest = 0
    for channel in residuals.T:
        for side in (channel > 0, channel < 0):
            edges = np.diff(np.concatenate(([0], (bad & side).astype(np.int8), [0])))
            runs = np.flatnonzero(edges < 0) - np.flatnonzero(edges > 0)
            longest = max(longest, int(runs.max(initial=0)))
    return longest


def _refuse_scatter(fit: LinearFit, sigma_rad: float) -> None:
    dof = fit.dof * fit.residuals.shape[1]
    limit, spread = scatter(float(fit.rss.sum()), dof, sigma_rad, CHANCE)
    if spread > limit:
        raise MeasurementRefused(
            "scatter",
            f"the stops scatter by {math.degrees(spread):.3f} deg, limit "
            f"{math.degrees(limit):.3f} deg for the noise stated; {_advice(fit, sigma_rad)}",
            figure=math.degrees(spread),
            limit=math.degrees(limit),
        )


def _advice(fit: LinearFit, sigma_rad: float) -> str:
    """Name the one stop without which the others agree, where there is just one such."""
    stop = stop_to_distrust(fit, sigma_rad, CHANCE)
    if stop is None:
        return "the clamp slipped or the head was knocked: seat it and turn again"
    return f"without stop {stop + 1} the others agree: take that one again"


def _refuse_open(turned_rad: F64, fit: LinearFit, sigma_rad: float | None) -> None:
    """Hold a repeated angle a turn later against the first reading there."""
    around = abs(abs(float(turned_rad[-1] - turned_rad[0])) - FULL_TURN_RAD)
    if around > CLOSED_RAD:
        return
    gap = float(np.abs(fit.residuals[-1] - fit.residuals[0]).max())
    limit = CLOSURE_RAD
    if sigma_rad is not None:
        limit = math.sqrt(2.0) * sigma_rad * float(special.ndtri(1.0 - CHANCE / 4.0))
    if gap > limit:
        raise MeasurementRefused(
            "not-closed",
            f"back at the first angle the reading differs by {math.degrees(gap):.3f} deg, limit "
            f"{math.degrees(limit):.3f} deg; the clamp slipped or the head was knocked: seat it "
            "and turn again",
            figure=math.degrees(gap),
            limit=math.degrees(limit),
        )
