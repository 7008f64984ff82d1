"""Fit the steering axis of one wheel, or of both wheels of an axle together."""

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import NotEnoughRotation
from calibration.outliers import MIN_ROWS
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.checks import (
    refuse_scatter,
    refuse_unusable,
    swings_or_refuse,
    unfitted_roll,
)
from ingest.geometry.sweep.closure import closure_of, overlap_rad, refuse_open, ways
from ingest.geometry.sweep.linear import solve_linear
from ingest.geometry.sweep.lopsided import roll_left_open
from ingest.geometry.sweep.outcome import Told, outcome, refuse_uncertain
from ingest.geometry.sweep.outlying import outlying, refuse_outliers
from ingest.geometry.sweep.readings import MASK, Sweep, SweepLimits, SweepNoise, SweepTerms
from ingest.geometry.sweep.refine import Refined, refine
from ingest.geometry.sweep.slip import NO_SLIP, Slip, lone, refuse_slipped, slip_of
from ingest.geometry.sweep.steering import HANGS, SWINGS, Steering
from ingest.geometry.sweep.weights import OWN_NOISE_DOF, Weights, pooled_rad

F64 = NDArray[np.float64]

REJECTIONS = 3
QUIET_RAD = 1e-9
"""Residuals this small are rounding, whose pattern says nothing of noise."""


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a fit was asked for."""

    noise: SweepNoise | None
    terms: SweepTerms
    limits: SweepLimits
    roll: bool


def fit_sweep(
    sweep: Sweep,
    *,
    noise: SweepNoise | None = None,
    terms: SweepTerms | None = None,
    limits: SweepLimits | None = None,
    roll: bool = False,
) -> Steering:
    """Fit caster, SAI and camber straight ahead of one wheel; see ``fit_axle``."""
    asked = _Asked(noise, terms or SweepTerms(), limits or SweepLimits(), roll)
    return _fitted((sweep,), asked)[0]


def fit_axle(
    left: Sweep,
    right: Sweep,
    *,
    noise: SweepNoise | None = None,
    terms: SweepTerms | None = None,
    limits: SweepLimits | None = None,
    roll: bool = False,
) -> tuple[Steering, Steering]:
    """Fit both wheels of a steer axle; with ``roll`` they share the axle's roll.

    Args:
        left, right: the readings of each side.
        noise: of one reading; default from the residuals.
        terms: what is common to all readings of a side.
        limits: what the sweeps must reach.
        roll: fit the roll of a beam axle, in proportion to the steering.

    Raises:
        MeasurementRefused: ``non-finite``, ``too-few-positions``, ``span``, ``condition``,
            ``unsettled``, ``sign``, ``not-held``, ``outliers``, ``scatter``, ``not-closed`` or
            ``u-too-large``.
    """
    asked = _Asked(noise, terms or SweepTerms(), limits or SweepLimits(), roll)
    if roll:
        both = _fitted((left, right), asked)
    else:
        both = []
        for each in (left, right):
            with _naming(each, (left, right)):
                both += _fitted((each,), asked)
    return both[0], both[1]


def _fitted(sweeps: Sequence[Sweep], asked: _Asked) -> list[Steering]:
    for sweep in sweeps:
        with _naming(sweep, sweeps):
            refuse_unusable(sweep, asked.limits, roll=asked.roll)
    as_read, whys = _held(sweeps, asked)
    stated = asked.noise is not None
    _refuse_open(as_read, asked)
    fit, kept = _without_outliers(as_read, asked)
    sides = range(len(sweeps))
    closures = [closure_of(fit, side, asked.limits, stated=stated) for side in sides]
    for sweep, closure in zip(sweeps, closures, strict=True):
        if closure is not None:
            with _naming(sweep, sweeps):
                refuse_open(closure, asked.limits)
    rolls = [unfitted_roll(fit, side, stated=stated) for side in sides]
    slips = [_slip(as_read, fit, side, rolls[side], asked) for side in sides]
    if asked.noise is not None:
        known = sum(closure.explained for closure in closures if closure is not None)
        refuse_scatter(fit, asked.noise, sum(rolls) + known)
    told = [
        Told(
            whys[side],
            closures[side],
            tuple(np.flatnonzero(~kept[side]).tolist()),
            rolls[side] > 0.0,
            crept=slips[side].proven,
            ends_out=not (kept[side][0] and kept[side][-1]),
            reach=slips[side].reach,
            rolling=roll_left_open(fit, side, stated=stated),
        )
        for side in sides
    ]
    fit, variance, dof = _noise_of(fit, asked)
    results = outcome(fit, variance, dof, asked.terms, told)
    for sweep, result in zip(sweeps, results, strict=True):
        with _naming(sweep, sweeps):
            refuse_uncertain(result, asked.limits)
    return results


def _refuse_open(as_read: Refined, asked: _Asked) -> None:
    """Refuse what does not close, before any reading is left out.

    One reading that is off between the first and the last, and explains more than an open sweep
    would, is left to the search for outliers.
    """
    stated = asked.noise is not None
    for side, sweep in enumerate(as_read.sweeps):
        closure = closure_of(as_read, side, asked.limits, stated=stated)
        if closure is not None and closure.explained >= lone(as_read, side):
            with _naming(sweep, as_read.sweeps):
                refuse_open(closure, asked.limits)


def _slip(as_read: Refined, fit: Refined, side: int, rolled: float, asked: _Asked) -> Slip:
    """Return the slip of one side, told from the readings as they came where it stands out there.

    Raises ``MeasurementRefused`` (``not-held``). A roll that was not fitted looks like a slip.
    """
    stated = asked.noise is not None
    found = slip_of(fit, side, stated=stated)
    before = slip_of(as_read, side, stated=stated)
    if before is not None and before.proven and before.explained >= lone(as_read, side):
        found = before
    if found is None:
        return NO_SLIP
    if rolled:
        return replace(found, proven=False)
    way = ways(as_read.sweeps[side].steer_rad)
    if found.row is None and not overlap_rad(as_read.sweeps[side].steer_rad, way):
        # Steered one way only, a steering whose scale is off looks the same.
        return found
    with _naming(fit.sweeps[side], fit.sweeps):
        refuse_slipped(found, asked.limits)
    return found


@contextlib.contextmanager
def _naming(sweep: Sweep, sweeps: Sequence[Sweep]) -> Iterator[None]:
    """Say which wheel is refused, where there are two."""
    try:
        yield
    except MeasurementRefused as refused:
        if len(sweeps) < 2:
            raise
        text = f"{sweep.side} wheel: {refused.text}"
        raise MeasurementRefused(
            refused.code, text, figure=refused.figure, limit=refused.limit
        ) from refused


def _solve(
    sweeps: Sequence[Sweep], asked: _Asked, weigh: SweepNoise | Sequence[Weights] | None
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


def _held(sweeps: Sequence[Sweep], asked: _Asked) -> tuple[Refined, list[str | None]]:
    """Fit, and once more without the forward axis of heads that turn out to swing."""
    whys: list[str | None] = [None if sweep.locked else HANGS for sweep in sweeps]
    fit = _solve(sweeps, asked, asked.noise)
    stated = asked.noise is not None
    swinging = []
    for side, sweep in enumerate(sweeps):
        with _naming(sweep, sweeps):
            swinging.append(swings_or_refuse(fit, side, stated=stated))
    if not any(swinging):
        return fit, whys
    pairs = zip(sweeps, swinging, strict=True)
    hung = [sweep.hanging() if swings else sweep for sweep, swings in pairs]
    whys = [SWINGS if swings else why for why, swings in zip(whys, swinging, strict=True)]
    return _solve(hung, asked, asked.noise), whys


def _without_outliers(fit: Refined, asked: _Asked) -> tuple[Refined, list[MASK]]:
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
            with _naming(sweep, whole):
                refuse_outliers(rows)
        fit = _solve([s.only(r) for s, r in zip(whole, kept, strict=True)], asked, asked.noise)
    return fit, kept


def _noise_of(fit: Refined, asked: _Asked) -> tuple[Refined, float | None, float]:
    """Return the fit under its final weights, the variance of unit weight, and its dof."""
    if asked.noise is not None:
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
