"""What to turn to bring a measured result home."""

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.geometry.corrections.parts import correct_by
from ingest.geometry.corrections.wanted import LEAVE, Correction, Quantity, Wanted
from ingest.job.limits.limit import Limit
from ingest.job.vehicle.axles import Axle
from ingest.job.vehicle.vehicle import Vehicle

STRAIGHT = frozenset({Quantity.AXLE_HEADING, Quantity.LATERAL_OFFSET, Quantity.STEER_PARALLELISM})
"""Whose nominal is zero where nobody says otherwise: axles square to the line and parallel."""


def target_of(quantity: Quantity, limit: Limit | None) -> float | None:
    """Return where a value should be, rad or m: the nominal, or the middle of its limits."""
    if limit is not None:
        if limit.nominal is not None:
            return limit.nominal
        if limit.low is not None and limit.high is not None:
            return (limit.low + limit.high) / 2.0
    return 0.0 if quantity in STRAIGHT else None


def correction_of(
    vehicle: Vehicle, axle: Axle, quantity: Quantity, measured: Measured, limit: Limit | None
) -> Correction | str | None:
    """Return the correction of a value; a sentence where the part cannot do it; None without a
    target or an adjuster."""
    adjuster = axle.adjuster(quantity)
    target = target_of(quantity, limit)
    if adjuster is None or target is None:
        return None
    try:
        return correct_by(adjuster.part, Wanted(quantity, axle.number, measured, target))
    except MeasurementRefused as error:
        return error.text


def in_words(found: Correction | str | None) -> tuple[str, ...]:
    """Return what to do, a sentence a part."""
    if found is None:
        return ()
    if isinstance(found, str):
        return (found,)
    if not found.changes:
        return tuple(step.text for step in found.steps)
    return tuple(step.text for step in found.steps if step.action != LEAVE)
