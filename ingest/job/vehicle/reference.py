"""What the axles of a unit are told against: its reference axle, and the line of that one.

In a motor unit the reference axle is a drive axle whose heading cannot be set, else any drive axle,
which is then set to the centre line; the rearmost of several. In a towed unit it is an axle whose
heading cannot be set, else any; the foremost of several, and none that can be lifted where another
is there. A file may name another.
"""

from collections.abc import Set

from ingest.geometry.corrections.wanted import Quantity
from ingest.job.vehicle.axles import Axle, Role
from ingest.job.vehicle.vehicle import Unit, Vehicle

PIN = "P"
"""Name of the coupling's pin in the network of a towed unit."""

Line = tuple[int | str, int]
"""Ends of the line that headings are told against, the foremost first: axles, or the pin."""


def reference_axle(vehicle: Vehicle, unit: Unit, seized: Set[int] = frozenset()) -> int:
    """Return the number of the axle that the others of a unit are told against.

    ``seized``: axles that nothing can be set of today, whatever the file says.
    """
    axles = vehicle.axles_of(unit)
    named = next((axle for axle in axles if axle.reference), None)
    if named is not None:
        return named.number
    motor = unit.kind.is_motor
    roles = {Role.DRIVE} if motor else set(Role) - {Role.LIFT}
    fit = [axle for axle in axles if axle.role in roles] or list(axles)
    fixed = [axle for axle in fit if not _sets_heading(axle, seized)]
    return (fixed or fit)[-1 if motor else 0].number


def line_of(vehicle: Vehicle, unit: Unit, reference: int | None = None) -> Line:
    """Return the ends of the line that a unit's reference axle is told against.

    A motor unit's centre line runs through the mid-points of two axles (the foremost and the
    reference axle where the file names none), a towed unit's from its pin to the mid-point of
    the reference axle.
    """
    if reference is None:
        reference = reference_axle(vehicle, unit)
    if not unit.kind.is_motor:
        return PIN, reference
    return unit.centre_line or (vehicle.axles_of(unit)[0].number, reference)


def _sets_heading(axle: Axle, seized: Set[int]) -> bool:
    return Quantity.AXLE_HEADING in axle.quantities and axle.number not in seized
