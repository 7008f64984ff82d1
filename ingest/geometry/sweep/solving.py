"""From readings to a fit: heads that swing, positions that are left out, the final weights."""

from collections.abc import Sequence

import numpy as np

from calibration.errors import NotEnoughRotation
from calibration.outliers import MIN_ROWS
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.asked import Asked, naming
from ingest.geometry.sweep.checks import swings_or_refuse
from ingest.geometry.sweep.linear import solve_linear
from ingest.geometry.sweep.outlying import outlying, refuse_outliers
from ingest.geometry.sweep.readings import MASK, Sweep, SweepNoise
from ingest.geometry.sweep.refine import Refined, refine
from ingest.geometry.sweep.steering import HANGS, SWINGS
from ingest.geometry.sweep.weights import OWN_NOISE_DOF, Weights, pooled_rad

REJECTIONS = 3
QUIET_RAD = 1e-9
"""Residuals this small are rounding, whose pattern says nothing of noise."""


def held(sweeps: Sequence[Sweep], asked: Asked) -> tuple[Refined, list[str | None]]:
    """Fit, and once more without the forward axis of heads that turn out to swing."""
    whys: list[str | None] = [None if sweep.locked else HANGS for sweep in sweeps]
    fit = _solve(sweeps, asked, asked.noise)
    swinging = []
    for side, sweep in enumerate(sweeps):
        with naming(sweep, sweeps):
            swinging.append(swings_or_refuse(fit, side, stated=asked.stated))
    if not any(swinging):
        return fit, whys
    pairs = zip(sweeps, swinging, strict=True)
    hung = [sweep.hanging() if swings else sweep for sweep, swings in pairs]
    whys = [SWINGS if swings else why for why, swings in zip(whys, swinging, strict=True)]
    return _solve(hung, asked, asked.noise), whys


def without_outliers(fit: Refined, asked: Asked) -> tuple[Refined, list[MASK]]:
    """Leave out the positions that do not fit the others; return which were kept, by side."""
    whole = fit.sweeps
    kept = [np.ones(len(sweep), dtype=np.bool_) for sweep in whole]
    if min(len(sweep) for sweep in whole) < MIN_ROWS:
        return fit, kept
    for _ in range(REJECTIONS):
        bad = outlying(fit)
        if not any(each.any() for each in bad):
            break
        for sweep, rows, out in zip(whole, kept, bad, strict=True):
            rows[np.flatnonzero(rows)[out]] = False
            with naming(sweep, whole):
                refuse_outliers(rows)
        fit = _solve([s.only(r) for s, r in zip(whole, kept, strict=True)], asked, asked.noise)
    return fit, kept


def noise_of(fit: Refined, asked: Asked) -> tuple[Refined, float | None, float]:
    """Return the fit under its final weights, the variance of unit weight, and its dof."""
    if asked.stated:
        return fit, 1.0, np.inf
    if fit.dof == 0:
        return fit, None, 0.0
    pooled = pooled_rad(fit.whitened, fit.dof)
    fewest = min(len(sweep) for sweep in fit.sweeps)
    if not all(sweep.locked for sweep in fit.sweeps) or fewest < OWN_NOISE_DOF + 2:
        return fit, pooled**2, float(fit.dof)
    if pooled < QUIET_RAD:
        return fit, pooled**2, float(fit.dof)
    taken = len(fit.cofactor) / (2.0 * len(fit.sweeps))
    weights = [Weights.of_residuals(rest, rest.shape[1] - taken) for rest in fit.residuals]
    settled = refine(
        fit.sweeps, fit.unknowns, weights, roll=asked.roll, max_condition=asked.limits.condition
    )
    return settled, 1.0, fewest - taken


def _solve(
    sweeps: Sequence[Sweep], asked: Asked, weigh: SweepNoise | Sequence[Weights] | None
) -> Refined:
    limit = asked.limits.condition
    try:
        start = [solve_linear(each, roll=asked.roll, max_condition=limit) for each in sweeps]
        return refine(sweeps, start, weigh, roll=asked.roll, max_condition=limit)
    except NotEnoughRotation as short:
        raise MeasurementRefused(
            "condition",
            f"the positions do not determine the steering axis: condition number "
            f"{short.condition:.3g}, limit {short.limit:.3g}; steer further to both sides",
            figure=short.condition,
            limit=short.limit,
        ) from short
