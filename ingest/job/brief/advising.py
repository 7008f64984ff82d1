"""What to turn to bring a measured result home."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.corrections.drag_link import DragLink
from ingest.geometry.corrections.parts import correct_by
from ingest.geometry.corrections.wanted import LEAVE, Correction, Quantity, Wanted
from ingest.geometry.corrections.wedges import Wedges
from ingest.job.limits.limit import Limit
from ingest.job.vehicle.axles import Axle
from ingest.job.vehicle.vehicle import Vehicle

STRAIGHT = frozenset(
    {
        Quantity.AXLE_HEADING,
        Quantity.LATERAL_OFFSET,
        Quantity.STEER_PARALLELISM,
        Quantity.STEERING_WHEEL,
    }
)
"""Whose nominal is zero where nobody says otherwise: axles square to the line and parallel, wheels
straight ahead while the steering wheel is in its middle."""

LAST_SWEEP = "last sweep"
"""What an advice that is given after a sweep stands on."""


NOT_TOLD_APART = "Leave the part as it is: the value differs from what is wanted by less than U."


@dataclass(frozen=True, slots=True)
class SweptAdvice:
    """What to turn after a sweep, in words. ``heed``: what is to be looked into before.

    ``fitted_rad``: the wedges that are in once it is done, left and right; none where it is not
    about wedges.
    """

    text: tuple[str, ...] = ()
    heed: tuple[str, ...] = ()
    fitted_rad: tuple[float, ...] = ()


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
    target or an adjuster.

    Of a drag link ``measured`` is where the axle points while the steering wheel is in its middle:
    to run straight, the steering wheel has to be turned by that against it, times its ratio. Drop
    arm and steering arm are taken for equal, since no drawing here tells that one; what comes of it
    is followed live.
    """
    adjuster = axle.adjuster(quantity)
    target = target_of(quantity, limit)
    if adjuster is None or target is None:
        return None
    if isinstance(adjuster.part, DragLink):
        measured = measured * -adjuster.part.ratio
        target *= -adjuster.part.ratio
    try:
        return correct_by(adjuster.part, Wanted(quantity, axle.number, measured, target))
    except MeasurementRefused as error:
        return error.text


def advice_by_sweep(
    axle: Axle,
    quantity: Quantity,
    wanted: Mapping[Side, Wanted],
    fitted_rad: tuple[float, ...] = (),
) -> SweptAdvice:
    """Return what to do about caster or lock angles, of the sides that a sweep told and that have a
    target. ``fitted_rad``: wedges that were fitted since the vehicle's file was written."""
    try:
        found = tuple(_corrections(axle, quantity, wanted, fitted_rad))
    except MeasurementRefused as error:
        return SweptAdvice((error.text,))
    return SweptAdvice(
        tuple(line for each in found for line in in_words(each)),
        tuple(line for each in found for line in each.before),
        tuple(
            step.set_turn_rad or 0.0
            for each in found
            for step in each.steps
            if quantity is Quantity.CASTER
        ),
    )


def _corrections(
    axle: Axle, quantity: Quantity, wanted: Mapping[Side, Wanted], fitted_rad: tuple[float, ...]
) -> Iterator[Correction]:
    if quantity is Quantity.CASTER:
        adjuster = axle.adjuster(quantity)
        if adjuster is not None and len(wanted) == len(Side):
            part = adjuster.part
            if isinstance(part, Wedges) and fitted_rad:
                part = part.refitted((fitted_rad[0], fitted_rad[1]))
            yield correct_by(part, *(wanted[side] for side in Side))
        return
    for side, each in wanted.items():
        adjuster = axle.adjuster(quantity, side)
        if adjuster is not None:
            yield correct_by(adjuster.part, each)


def in_words(found: Correction | str | None, *, to_be_decided: bool = True) -> tuple[str, ...]:
    """Return what to do, a sentence a part.

    ``to_be_decided``: the value has limits. Nearer to its target than U it may still be undecided
    by them, and closer is better; without limits nothing is to be had from turning any further.
    """
    if found is None:
        return ()
    if isinstance(found, str):
        return (found,)
    if not found.changes:
        return tuple(step.text for step in found.steps)
    if not (to_be_decided or found.worth_doing):
        return (NOT_TOLD_APART,)
    return (*found.beyond, *(step.text for step in found.steps if step.action != LEAVE))
