"""From a settled fit of a sweep to its results with their uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, Part, Source, from_covariance
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.lopsided import one_sidedness
from ingest.geometry.sweep.motion import AXIS, ROLL, TAN_CASTER, TAN_SAI, observed
from ingest.geometry.sweep.readings import SweepLimits, SweepTerms
from ingest.geometry.sweep.refine import Refined
from ingest.geometry.sweep.steering import (
    CLOSING_OUT,
    CREPT,
    FLAT,
    NEGATIVE,
    ONE_SIDE,
    ONE_WAY,
    ROLLS,
    Closure,
    Steering,
    SteeringEstimates,
)
from ingest.geometry.sweep.weights import pooled_rad

F64 = NDArray[np.float64]

SOURCE = "noise of the sweep"
ZERO = "straight ahead"
SCALE = "scale of the steering"
FLAT_RAD = math.radians(0.15)
"""A tilt that moves by less in all, over a real sweep, may stand in radians for degrees."""
NO_NOISE_RAD = math.radians(0.1)
"""No inclinometer scatters so much at rest: something moved, or a sign is wrong."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is already known of one side: why it has no SAI, closure, outliers, unfitted roll.

    ``crept``: a slip within the limit is proven. ``ends_out``: the first or last reading is left
    out. ``reach`` (3,) as ``Slip`` has it, ``rolling`` (3,) as ``roll_left_open`` returns it.
    """

    why_no_sai: str | None
    closure: Closure | None
    outliers: tuple[int, ...]
    rolls: bool
    crept: bool
    ends_out: bool
    reach: F64
    rolling: F64


def outcome(
    fit: Refined, variance: float | None, dof: float, terms: SweepTerms, told: Sequence[Told]
) -> list[Steering]:
    """Return the results of each side.

    ``variance`` of unit weight, None where the noise is not known; ``dof`` of that variance.
    """
    noise: tuple[Measured, ...] | None = None
    if variance is not None:
        zeros = np.zeros(len(fit.cofactor))
        noise = from_covariance(zeros, fit.cofactor * variance, source=SOURCE, dof=dof)
    return [_side(fit, side, noise, terms, told[side]) for side in range(len(fit.sweeps))]


def _side(
    fit: Refined, side: int, noise: tuple[Measured, ...] | None, terms: SweepTerms, told: Told
) -> Steering:
    sweep, row = fit.sweeps[side], fit.unknowns[side]
    caster, sai = math.atan(row[TAN_CASTER]), math.atan(row[TAN_SAI])
    slopes = (math.cos(caster) ** 2, math.cos(sai) ** 2, -float(sweep.side.sign))
    gain = _gain(fit, side, slopes, side)
    across = _gain(fit, side, slopes, 1 - side) if len(fit.sweeps) > 1 else None
    camber = slopes[2] * float(row[AXIS])
    rolled = ROLL in fit.free[side]
    estimates = None
    if noise is not None:
        place = dict(zip(fit.free[side], fit.places[side], strict=True))
        values = (caster, sai, camber)
        common = _common(fit, side, gain, terms)
        three = [
            noise[place[at]] * slope + shared + value
            for value, at, slope, shared in zip(
                values, (TAN_CASTER, TAN_SAI, AXIS), slopes, common, strict=True
            )
        ]
        roll = noise[place[ROLL]] + float(row[ROLL]) if rolled else None
        estimates = _estimates(three, roll, with_sai=told.why_no_sai is None)
    return Steering(
        side=sweep.side,
        caster_rad=caster,
        camber_rad=camber,
        sai_rad=sai if told.why_no_sai is None else None,
        why_no_sai=told.why_no_sai,
        axle_roll=float(row[ROLL]) if rolled else None,
        estimates=estimates,
        n=len(sweep),
        dof=fit.dof,
        rms_rad=pooled_rad(fit.residuals[side], fit.residuals[side].size),
        outliers=told.outliers,
        closure=told.closure,
        gain=gain,
        used=sweep,
        unknowns=row,
        across=across,
        hints=_hints(fit, side, caster, told),
        u_slip_rad=_half(np.abs(told.reach), np.abs(slopes)),
        by_roll_rad=_half(told.rolling, slopes),
    )


def _estimates(
    three: list[Measured], roll: Measured | None, *, with_sai: bool
) -> SteeringEstimates:
    caster, sai, camber = three
    if not with_sai:
        return SteeringEstimates(caster, camber, axle_roll=roll)
    return SteeringEstimates(caster, camber, sai, sai + camber, roll)


def _gain(fit: Refined, side: int, slopes: tuple[float, float, float], by: int) -> F64:
    """Return by how much a side's caster, SAI and camber grow with each reading of ``by``.

    Shape (3, c, n). Readings of the other side tell through the axle's roll alone.
    """
    rest, weights = fit.residuals[by], fit.weights[by]
    at = sum(each.size for each in fit.residuals[:by])
    own = [fit.places[side][i] for i in (TAN_CASTER, TAN_SAI, AXIS)]
    white = fit.gain[own, at : at + rest.size].reshape(3, *rest.shape)
    gain = white * weights.own
    if len(rest) > 1:
        gain[:, 0] -= gain[:, 1] * weights.shared * weights.own[0]
    return np.asarray(gain * np.array(slopes)[:, None, None])


def _common(fit: Refined, side: int, gain: F64, terms: SweepTerms) -> list[Measured]:
    """Return what a zero and a scale of the steering do to caster, SAI and camber."""
    by_steer, steer = fit.by_steer[side], fit.sweeps[side].steer_rad
    found: list[list[Part]] = [[], [], []]
    for name, size, error in (
        (ZERO, terms.zero_rad, by_steer),
        (SCALE, terms.scale, by_steer * steer),
    ):
        if size == 0.0:
            continue
        source = Source(name)
        for parts, moved in zip(found, np.einsum("qcn,cn->q", gain, error), strict=True):
            parts.append(Part(source, (-size * float(moved),)))
    return [Measured(0.0, tuple(parts)) for parts in found]


def _half(reach: F64, slopes: Sequence[float] | F64) -> tuple[float, float, float]:
    """Return what was told with a chance of 95 %, twice its uncertainty, in caster, SAI, camber."""
    caster, sai, camber = (np.asarray(slopes) * reach / 2.0).tolist()
    return caster, sai, camber


def _hints(fit: Refined, side: int, caster: float, told: Told) -> tuple[str, ...]:
    hints = [NEGATIVE] if caster < 0.0 else []
    if told.rolls:
        hints.append(ROLLS)
    if told.crept:
        hints.append(CREPT)
    if told.ends_out:
        hints.append(CLOSING_OUT)
    if one_sidedness(fit.sweeps[side].steer_rad) > 0.0:
        hints.append(ONE_SIDE)
    if told.closure is None:
        hints.append(ONE_WAY)
    moves = np.ptp(observed(fit.sweeps[side]), axis=1).max()
    return (*hints, FLAT) if moves < FLAT_RAD else tuple(hints)


def refuse_uncertain(result: Steering, limits: SweepLimits) -> None:
    """Raise ``MeasurementRefused`` (``u-too-large``) where caster or SAI is known too badly.

    An unknown uncertainty cannot be held against a limit and is let through as unknown.
    """
    if result.estimates is None:
        return
    limit = limits.u_rad if result.axle_roll is None else limits.u_rolling_rad
    told = (("caster", result.estimates.caster), ("SAI", result.estimates.sai))
    what = "steer further or take more readings"
    if result.rms_rad > NO_NOISE_RAD:
        scatter = f"the readings scatter by {math.degrees(result.rms_rad):.2g} deg about the fit"
        what = f"{scatter}: look for a reversed sign, a wheel that rolled, a head that slipped"
    for name, measured in told:
        if measured is not None and measured.u > limit:
            raise MeasurementRefused(
                "u-too-large",
                f"{name} is known to {math.degrees(measured.u):.4g} deg (standard uncertainty), "
                f"limit {math.degrees(limit):.4g} deg; {what}",
                figure=math.degrees(measured.u),
                limit=math.degrees(limit),
            )
