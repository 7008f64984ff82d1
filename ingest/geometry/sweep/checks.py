"""What speaks against a sweep: unusable readings, a reversed sign, a head or wheel that gave way.

SAI shows twice in a locked head: in incl_x, by the sine of the steering, and more weakly in
incl_y, by its cosine. Where the two contradict each other, a sign is wrong, the head swung on its
shaft, or the wheel rolled.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.contradiction import CHANCE, Extra, extra_unknowns
from ingest.geometry.sweep.motion import ROLL, TAN_CASTER, TAN_SAI
from ingest.geometry.sweep.readings import Sweep, SweepLimits, SweepNoise, positions
from ingest.geometry.sweep.refine import Refined

F64 = NDArray[np.float64]

CONTRADICTS_RAD = math.radians(1.5)
"""The axle's roll and a steering that is off bend the two SAIs apart by less."""
LEANS_OUT_RAD = math.radians(1.0)
"""No steering axis is built to lean outward at its top (common practice), by more than this."""
SMALL_ROLL = 0.001
"""A roll of 0.001 deg a degree of steering moves caster by some 0.06 deg: less is not told."""
FLAT_SHARE = 0.2
"""incl_x that shows less than this share of the SAI in incl_y does not turn with the knuckle."""
ALIKE = 0.3
"""Two SAIs are each other's negative when their sizes agree to this share."""


def refuse_unusable(sweep: Sweep, limits: SweepLimits, *, roll: bool) -> None:
    """Raise ``MeasurementRefused``: ``non-finite``, ``too-few-positions`` or ``span``."""
    for name, channel in sweep.channels().items():
        bad = int((~np.isfinite(channel)).sum())
        if bad:
            raise MeasurementRefused(
                "non-finite",
                f"{bad} of {len(sweep)} readings of {name} are not finite numbers, limit 0",
                figure=float(bad),
                limit=0.0,
            )
    found, needed = positions(sweep.steer_rad), (2 if sweep.locked else 3) + roll
    if found < needed:
        how = "with" if sweep.locked else "without"
        rolling = " and the axle's roll to be fitted" if roll else ""
        raise MeasurementRefused(
            "too-few-positions",
            f"{found} different positions of the steering, at least {needed} are needed {how} "
            f"incl_x{rolling}; steer to more positions",
            figure=float(found),
            limit=float(needed),
        )
    span = float(np.ptp(sweep.steer_rad))
    if span < limits.span_rad:
        raise MeasurementRefused(
            "span",
            f"the steering spans {math.degrees(span):.2f} deg, at least "
            f"{math.degrees(limits.span_rad):.2f} deg are needed; steer further to both sides",
            figure=math.degrees(span),
            limit=math.degrees(limits.span_rad),
        )


def refuse_scatter(fit: Refined, noise: SweepNoise, explained: float) -> None:
    """Raise ``MeasurementRefused`` (``scatter``) where readings scatter beyond the stated noise.

    ``explained``: what of the whitened sum of squares is known to be no scatter.
    """
    if not fit.dof:
        return
    limit = math.sqrt(float(special.chdtri(fit.dof, CHANCE)) / fit.dof)
    found = math.sqrt(max(float(fit.whitened @ fit.whitened) - explained, 0.0) / fit.dof)
    if found > limit:
        tilt_deg = math.degrees(noise.tilt_rad)
        raise MeasurementRefused(
            "scatter",
            f"the readings scatter by {found * tilt_deg:.4f} deg about the fit, limit "
            f"{limit * tilt_deg:.4f} deg for the noise stated; something moved that should not "
            "(brake, lock, axle), or the noise is larger: sweep again",
            figure=found * tilt_deg,
            limit=limit * tilt_deg,
        )


def swings_or_refuse(fit: Refined, side: int, *, stated: bool) -> bool:
    """Return whether a head that was taken for locked swings on its shaft.

    Raises:
        MeasurementRefused: ``sign`` (a reading or the side is reversed) or ``not-held`` (the wheel
            rolled, or the lock slipped); figure and limit in deg.
    """
    tan_caster, tan_sai = fit.unknowns[side][[TAN_CASTER, TAN_SAI]].tolist()
    if not fit.sweeps[side].locked:
        return False
    extra = _by_incl_y(fit, side, stated=stated)
    if extra is None:
        _refuse_outward(tan_sai)
        return False
    by_x = tan_sai + float(extra.moved[fit.places[side][TAN_SAI]])
    gap, chance = float(extra.values[0]), float(extra.chance[0])
    by_y = by_x + gap
    if not abs(gap) > max(CONTRADICTS_RAD, chance):
        _refuse_outward(tan_sai)
        return False
    if abs(by_x) < FLAT_SHARE * abs(by_y):
        return True
    told = f"incl_x gives an SAI of {_deg(by_x):.2f} deg, incl_y one of {_deg(by_y):.2f} deg"
    if by_x * by_y < 0.0 and abs(abs(by_x) - abs(by_y)) < max(ALIKE * abs(by_y), chance):
        raise MeasurementRefused(
            "sign",
            f"{told}: the sign of {_reversed(by_x, tan_caster)}",
            figure=abs(_deg(gap)),
            limit=math.degrees(CONTRADICTS_RAD),
        )
    raise MeasurementRefused(
        "not-held",
        f"{told}, limit {math.degrees(CONTRADICTS_RAD):.1f} deg of difference; the wheel rolled "
        "while it was steered, or the head slipped on its shaft: hold the brake, lock the head and "
        "sweep again",
        figure=abs(_deg(gap)),
        limit=math.degrees(CONTRADICTS_RAD),
    )


def unfitted_roll(fit: Refined, side: int, *, stated: bool) -> float:
    """Return what of the sum of squares is a proven roll of the axle that was not fitted, or 0."""
    if ROLL in fit.free[side] or not fit.sweeps[side].locked or fit.dof < 1:
        return 0.0
    by_roll = fit.by_unknowns[side][None, :, :, ROLL]
    found = extra_unknowns(fit, side, by_roll, stated=stated)
    if found is None or math.isnan(found.u[0]):
        return 0.0
    return found.explained if abs(found.values[0]) > max(SMALL_ROLL, found.chance[0]) else 0.0


def _by_incl_y(fit: Refined, side: int, *, stated: bool) -> Extra | None:
    """Return by how much SAI in incl_y exceeds that in incl_x, as tangents."""
    if fit.dof < 1:
        return None
    column = np.zeros(fit.residuals[side].shape)
    column[0] = fit.by_unknowns[side][0, :, TAN_SAI]
    found = extra_unknowns(fit, side, column[None], stated=stated)
    return None if found is None or math.isnan(found.u[0]) else found


def _reversed(by_x: float, tan_caster: float) -> str:
    if by_x >= 0.0:
        return "incl_y is reversed: camber moves the wrong way (left end up is positive)"
    if tan_caster < 0.0:
        return "the steering is reversed: camber moves the wrong way (to the left is positive)"
    return "incl_x is reversed (front up is positive)"


def _refuse_outward(tan_sai: float) -> None:
    """Refuse an axis that leans out at its top."""
    if math.atan(tan_sai) < -LEANS_OUT_RAD:
        raise MeasurementRefused(
            "sign",
            f"SAI comes out as {_deg(tan_sai):.2f} deg, limit {-math.degrees(LEANS_OUT_RAD):.1f} "
            "deg, and no steering axis leans outward: the sign of incl_x or of the steering is "
            "reversed, or it is the other side",
            figure=_deg(tan_sai),
            limit=-math.degrees(LEANS_OUT_RAD),
        )


def _deg(tangent: float) -> float:
    return math.degrees(math.atan(tangent))
