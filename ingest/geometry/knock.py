"""Has the clamp slipped, or the head been knocked, while the wheel was turned?

A slip leaves a step in the residuals. Every possible place of it is tried at once: the step is
one more column of the regression, and its t value follows from running sums.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.leastsquares import LinearFit
from ingest.core.errors import MeasurementRefused
from ingest.geometry.arc import FULL_TURN_RAD

F64 = NDArray[np.float64]

CHANCE = 1e-5
"""Clean normal readings are refused in fewer cases than this."""
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


def refuse_unsteady(spin_rad: F64, fit: LinearFit, sigma_rad: float | None) -> None:
    """Refuse a turn during which something moved that should not have.

    Args:
        spin_rad: spin angle in order of time, shape (n,).
        fit: the regression of all channels, rad, in the same order.
        sigma_rad: standard deviation of one reading, where stated.

    Raises:
        MeasurementRefused: ``slip``, ``outliers``, ``scatter`` or ``not-closed``; the figure is
            in degrees, for ``outliers`` a count.
    """
    _refuse_outliers(fit)
    if fit.design.rows >= SCAN_ROWS:
        _refuse_step(fit)
        return
    if sigma_rad is not None and fit.dof > 0:
        _refuse_scatter(fit, sigma_rad)
    _refuse_open(np.unwrap(spin_rad), fit, sigma_rad)


def largest_step(fit: LinearFit) -> tuple[float, float, int]:
    """Return the most significant step: its size, its \\|t\\|, and the kept row it is before."""
    matrix, rest = fit.design.matrix, fit.residuals[fit.kept]
    n = len(rest)
    after = np.arange(n - SEGMENT, SEGMENT - 1, -1)
    ahead = np.cumsum(matrix[::-1], axis=0)[::-1][after]
    length = (n - after) - ((ahead @ fit.design.cofactor) * ahead).sum(axis=1)
    product = np.cumsum(rest[::-1], axis=0)[::-1][after]
    room = np.maximum(length, 1e-9 * n)[:, None]
    gain = np.square(product) / room
    left = np.maximum(fit.rss - gain, 1e-300) / max(fit.dof - 1, 1)
    t = np.sqrt(gain / left)
    row, channel = np.unravel_index(int(np.argmax(t)), t.shape)
    step = float(product[row, channel] / room[row, 0])
    return step, float(t[row, channel]), int(after[row])


def _refuse_step(fit: LinearFit) -> None:
    if fit.dof < 2:
        return
    step, t, row = largest_step(fit)
    tests = 2.0 * fit.design.rows * fit.residuals.shape[1]
    limit = float(special.stdtrit(fit.dof - 1, 1.0 - CHANCE / tests))
    spread = float(np.sqrt(fit.rss.sum() / (fit.dof * fit.residuals.shape[1])))
    if t > limit and abs(step) > max(SMALLEST_STEP_RAD, spread):
        raise MeasurementRefused(
            "slip",
            f"the readings step by {math.degrees(step):.3f} deg before reading "
            f"{int(np.flatnonzero(fit.kept)[row]) + 1} (t = {t:.1f}, limit {limit:.1f}); "
            "the clamp slipped or the head was knocked: seat it and turn again",
            figure=math.degrees(abs(step)),
            limit=math.degrees(max(SMALLEST_STEP_RAD, limit * abs(step) / t)),
        )


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
    limit, spread = _scatter(float(fit.rss.sum()), fit.dof * fit.residuals.shape[1], sigma_rad)
    if spread > limit:
        raise MeasurementRefused(
            "scatter",
            f"the stops scatter by {math.degrees(spread):.3f} deg, limit "
            f"{math.degrees(limit):.3f} deg for the noise stated; {_advice(fit, sigma_rad)}",
            figure=math.degrees(spread),
            limit=math.degrees(limit),
        )


def _scatter(rss: float, dof: int, sigma_rad: float) -> tuple[float, float]:
    """Return the limit of the scatter, and the scatter, rad."""
    limit = math.sqrt(float(special.chdtri(dof, CHANCE)) / dof) * sigma_rad
    return limit, math.sqrt(max(rss, 0.0) / dof)


def _advice(fit: LinearFit, sigma_rad: float) -> str:
    """Name the one stop without which the others agree, where there is just one such."""
    stop = stop_to_distrust(fit, sigma_rad)
    if stop is None:
        return "the clamp slipped or the head was knocked: seat it and turn again"
    return f"without stop {stop + 1} the others agree: take that one again"


def stop_to_distrust(fit: LinearFit, sigma_rad: float) -> int | None:
    """Return the only stop (from 0) without which the others agree; None when none is alone.

    Each stop is left out in turn; what the sum of squares loses follows from its residual and
    leverage. With one degree of freedom a channel every stop could be the culprit, so it takes
    five stops to name one.
    """
    if fit.dof < 2:
        return None
    leverage = np.einsum("ij,ij->i", fit.design.basis, fit.design.basis)
    loss = np.square(fit.residuals).sum(axis=1) / np.maximum(1.0 - leverage, 1e-9)
    dof = (fit.dof - 1) * fit.residuals.shape[1]
    rest = [_scatter(float(fit.rss.sum() - each), dof, sigma_rad) for each in loss]
    agree = [at for at, (limit, spread) in enumerate(rest) if spread <= limit]
    return agree[0] if len(agree) == 1 else None


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
