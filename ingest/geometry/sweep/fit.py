"""Fit the steering axis of one wheel, or of both wheels of an axle together."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ingest.geometry.sweep.asked import Asked, naming
from ingest.geometry.sweep.checks import refuse_scatter, refuse_unusable, unfitted_roll
from ingest.geometry.sweep.closure import closure_of, overlap_rad, refuse_open, ways
from ingest.geometry.sweep.lopsided import roll_left_open
from ingest.geometry.sweep.outcome import Told, outcome, refuse_uncertain
from ingest.geometry.sweep.readings import Sweep, SweepLimits, SweepNoise, SweepTerms
from ingest.geometry.sweep.refine import Refined
from ingest.geometry.sweep.slip import NO_SLIP, Slip, lone, refuse_slipped, slip_of
from ingest.geometry.sweep.solving import held, noise_of, without_outliers
from ingest.geometry.sweep.steering import Closure, Steering


def fit_sweep(
    sweep: Sweep,
    *,
    noise: SweepNoise | None = None,
    terms: SweepTerms | None = None,
    limits: SweepLimits | None = None,
    roll: bool = False,
) -> Steering:
    """Fit caster, SAI and camber straight ahead of one wheel; see ``fit_axle``."""
    asked = Asked(noise, terms or SweepTerms(), limits or SweepLimits(), roll)
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
    asked = Asked(noise, terms or SweepTerms(), limits or SweepLimits(), roll)
    if roll:
        both = _fitted((left, right), asked)
    else:
        both = []
        for each in (left, right):
            with naming(each, (left, right)):
                both += _fitted((each,), asked)
    return both[0], both[1]


def _fitted(sweeps: Sequence[Sweep], asked: Asked) -> list[Steering]:
    for sweep in sweeps:
        with naming(sweep, sweeps):
            refuse_unusable(sweep, asked.limits, roll=asked.roll)
    as_read, whys = held(sweeps, asked)
    _refuse_open(as_read, asked)
    fit, kept = without_outliers(as_read, asked)
    sides = range(len(sweeps))
    closures = [_closed(fit, side, asked) for side in sides]
    rolls = [unfitted_roll(fit, side, stated=asked.stated) for side in sides]
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
            rolling=roll_left_open(fit, side, stated=asked.stated),
        )
        for side in sides
    ]
    fit, variance, dof = noise_of(fit, asked)
    results = outcome(fit, variance, dof, asked.terms, told)
    for sweep, result in zip(sweeps, results, strict=True):
        with naming(sweep, sweeps):
            refuse_uncertain(result, asked.limits)
    return results


def _refuse_open(as_read: Refined, asked: Asked) -> None:
    """Refuse what does not close, before any reading is left out.

    One reading that is off between the first and the last, and explains more than an open sweep
    would, is left to the search for outliers.
    """
    for side, sweep in enumerate(as_read.sweeps):
        closure = closure_of(as_read, side, asked.limits, stated=asked.stated)
        if closure is not None and closure.explained >= lone(as_read, side):
            with naming(sweep, as_read.sweeps):
                refuse_open(closure, asked.limits)


def _closed(fit: Refined, side: int, asked: Asked) -> Closure | None:
    """Return how one side closes, where it tells. Raises ``MeasurementRefused``."""
    closure = closure_of(fit, side, asked.limits, stated=asked.stated)
    if closure is not None:
        with naming(fit.sweeps[side], fit.sweeps):
            refuse_open(closure, asked.limits)
    return closure


def _slip(as_read: Refined, fit: Refined, side: int, rolled: float, asked: Asked) -> Slip:
    """Return the slip of one side, told from the readings as they came where it stands out there.

    Raises ``MeasurementRefused`` (``not-held``). A roll that was not fitted looks like a slip.
    """
    found = slip_of(fit, side, stated=asked.stated)
    before = slip_of(as_read, side, stated=asked.stated)
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
    with naming(fit.sweeps[side], fit.sweeps):
        refuse_slipped(found, asked.limits)
    return found
