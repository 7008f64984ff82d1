"""Has the clamp slipped, or the head been knocked, while the wheel was turned?

A motion beyond doubt is refused; a lesser one that still is no plain chance is told.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.leastsquares import LinearFit
from ingest.core.errors import MeasurementRefused
from ingest.geometry.arc import FULL_TURN_RAD
from ingest.geometry.motion import Motion, largest_shift, largest_step, steady_drift
from ingest.geometry.stops import scatter, stop_to_distrust
from ingest.geometry.terms import TurnTerms

F64 = NDArray[np.float64]

CHANCE = 1e-5
"""Clean normal readings are refused in fewer cases than this."""
DOUBT = 5e-2
"""... and looked at twice in fewer than this."""
LEAST_DOF = 2
TIMES_KNOWN = 3.0
"""A motion is none of those counted beforehand when it is so many times their deviation."""
SCAN_ROWS = 8
"""The scan for a step needs this many readings; fewer are held against the stated noise."""
SMALLEST_STEP_RAD = math.radians(0.002)
"""A smaller step is not called a slip, however surely the readings show it."""
FINEST_RAD = math.radians(0.0002)
"""Less than this is nobody's concern."""
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


def _refuse_motion(fit: LinearFit, terms: TurnTerms) -> bool:
    """Refuse a motion beyond doubt; say whether a lesser one may be there."""
    tests = 2.0 * (fit.design.rows * (fit.residuals.shape[1] + 1) + 1)
    found = max(largest_step(fit), steady_drift(fit), key=lambda each: each.t)
    chance = float(special.stdtr(fit.dof - 1, -found.t))
    if fit.dof > LEAST_DOF:
        shift, of_shift = largest_shift(fit)
        if of_shift / 2.0 < chance:
            found, chance = shift, of_shift / 2.0
    spread = float(np.sqrt(fit.rss.sum() / (fit.dof * fit.residuals.shape[1])))
    known = TIMES_KNOWN * math.hypot(terms.floor_rad, terms.drift_rad)
    if (found.seen_rad if found.shifted else abs(found.size_rad)) <= known:
        return False
    least = max(SMALLEST_STEP_RAD, known, spread)
    if chance < CHANCE / tests and abs(found.size_rad) > least:
        raise _moved(found, least, fit)
    return chance < DOUBT / tests and abs(found.size_rad) > FINEST_RAD


def _moved(found: Motion, least_rad: float, fit: LinearFit) -> MeasurementRefused:
    size_deg, code = math.degrees(abs(found.size_rad)), "slip"
    advice = "the clamp slipped or the head was knocked: seat it and turn again"
    if found.before is None:
        code, change = "drift", f"the readings drift by {size_deg:.3f} deg over the turn"
        advice = "let the head take on the temperature of the bay, then turn again"
    else:
        reading = int(np.flatnonzero(fit.kept)[found.before]) + 1
        what = "run-out changes" if found.shifted else "readings step"
        change = f"the {what} by {size_deg:.3f} deg before reading {reading}"
    limit_deg = math.degrees(least_rad)
    text = f"{change} (t = {found.t:.1f}), limit {limit_deg:.3f} deg; {advice}"
    return MeasurementRefused(code, text, figure=size_deg, limit=limit_deg)


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
