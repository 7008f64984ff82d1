"""Vehicles that cannot be are refused, with the place in the file and the reason."""

from itertools import pairwise

from ingest.geometry.corrections.parts import EndParts
from ingest.geometry.corrections.wanted import Quantity
from ingest.job.vehicle.axles import Adjuster, Axle, Role
from ingest.job.vehicle.refusal import VehicleRefused, of_axle, of_blocked
from ingest.job.vehicle.unit_checks import check_unit, check_units
from ingest.job.vehicle.vehicle import Blocked, Vehicle

LEAST_ROOM_M = 0.2
"""Between the tyres of both sides: less leaves no room for a beam, frame or hub."""

FITS: dict[Quantity, frozenset[Role]] = {
    Quantity.AXLE_HEADING: frozenset(Role),
    Quantity.LATERAL_OFFSET: frozenset(Role),
    Quantity.TOTAL_TOE: frozenset({Role.STEER, Role.SECOND_STEER}),
    Quantity.STEERING_WHEEL: frozenset({Role.STEER}),
    Quantity.STEER_PARALLELISM: frozenset({Role.SECOND_STEER}),
    Quantity.LOCK_ANGLE: frozenset({Role.STEER, Role.SECOND_STEER}),
    Quantity.CASTER: frozenset({Role.STEER, Role.SECOND_STEER}),
}
"""On which axles a quantity can be set at all."""


def checked(vehicle: Vehicle) -> Vehicle:
    """Return a vehicle that can be. Raises ``VehicleRefused`` for the first thing that cannot."""
    _order(vehicle)
    check_units(vehicle)
    for unit in vehicle.units:
        check_unit(vehicle, unit)
    for axle in vehicle.axles:
        _axle(axle)
    for place, blocked in enumerate(vehicle.blocked, start=1):
        _line(vehicle, of_blocked(place), blocked)
    return vehicle


def _order(vehicle: Vehicle) -> None:
    for place, axle in enumerate(vehicle.axles, start=1):
        if axle.number != place:
            reason = "axles are listed front to rear and count from 1 without a gap"
            raise VehicleRefused(of_axle(place, "number"), axle.number, f"{reason}: {place}")
    if vehicle.axles[0].behind_m != 0.0:
        reason = "axle 1 is what all places are counted from; 0 is needed"
        raise VehicleRefused(of_axle(1, "behind_m"), vehicle.axles[0].behind_m, reason)
    for front, rear in pairwise(vehicle.axles):
        apart = rear.behind_m - front.behind_m
        needed = (front.tyre.diameter_m + rear.tyre.diameter_m) / 2.0
        where = of_axle(rear.number, "behind_m")
        if apart <= 0.0:
            reason = f"not behind axle {front.number}, which stands at {front.behind_m:g}"
            raise VehicleRefused(where, rear.behind_m, f"{reason}; list axles front to rear")
        if apart < needed:
            reason = f"{apart:.3g} m behind axle {front.number}, their tyres would touch"
            raise VehicleRefused(where, rear.behind_m, f"{reason} (they need {needed:.3g} m)")


def _axle(axle: Axle) -> None:
    _wheels_of(axle)
    for adjuster in axle.adjusters:
        _adjuster(axle, adjuster)


def _wheels_of(axle: Axle) -> None:
    tyres = (4 if axle.dual else 2) * axle.tyre.width_m
    if axle.track_m < tyres + LEAST_ROOM_M:
        kind = "dual" if axle.dual else "single"
        reason = f"too narrow for {kind} tyres {axle.tyre.width_m * 1e3:g} mm wide on both sides"
        raise VehicleRefused(of_axle(axle.number, "track_m"), axle.track_m, reason)
    for key, diameter_m in (("rim_mm", axle.rim_m), ("toe_at_mm", axle.toe_diameter_m)):
        if diameter_m > axle.tyre.diameter_m:
            reason = f"larger than the tyre, {axle.tyre.diameter_m * 1e3:g} mm"
            raise VehicleRefused(of_axle(axle.number, key), round(diameter_m * 1e3, 3), reason)


def _adjuster(axle: Axle, adjuster: Adjuster) -> None:
    where = of_axle(axle.number, adjuster.quantity.value)
    fits = FITS.get(adjuster.quantity, frozenset())
    if axle.role not in fits:
        roles = " or ".join(sorted(role.value for role in fits)) or "no axle"
        raise VehicleRefused(where, axle.role.value, f"is set on {roles}, not on this axle's role")
    if adjuster.quantity is Quantity.CASTER and not axle.beam:
        reason = "wedges lie between spring and beam, and this axle has no beam"
        raise VehicleRefused(where, "wedges", reason)
    if isinstance(adjuster.part, EndParts):
        if not axle.beam:
            reason = "wheels that are hung by themselves have no common heading to set"
            raise VehicleRefused(where, "beam = false", reason)
        between_m = adjuster.part.ends.between_m
        if between_m > axle.track_m:
            reason = f"wider than the axle's track, {axle.track_m:g} m"
            raise VehicleRefused(f"{where}.between_m", between_m, reason)


def _line(vehicle: Vehicle, where: str, blocked: Blocked) -> None:
    names = sorted(wheel.id for wheel in blocked.wheels)
    for wheel in sorted(blocked.wheels):
        if not 1 <= wheel.axle <= len(vehicle.axles):
            reason = f"no such wheel; the vehicle has {len(vehicle.axles)} axles"
            raise VehicleRefused(where, wheel.id, reason)
    if len(blocked.wheels) < 2:
        raise VehicleRefused(where, names, "a line has two ends; name two wheels")
    one, other = blocked.wheels
    if one.axle != other.axle and one.side is not other.side:
        reason = "no head looks that way: a line runs along one side, or across one axle"
        raise VehicleRefused(where, names, reason)
