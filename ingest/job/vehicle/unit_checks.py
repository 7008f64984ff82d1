"""Units that cannot be: their kinds, their axles, what draws them."""

from itertools import groupby

from ingest.job.vehicle.axles import Axle, Role
from ingest.job.vehicle.reference import reference_axle
from ingest.job.vehicle.refusal import VehicleRefused, of_axle, of_unit
from ingest.job.vehicle.vehicle import Coupling, CouplingKind, Unit, UnitKind, Vehicle

LEAST_LINE_M = 0.5
"""A shorter line between pin and axle has no direction to speak of."""

MOTOR_ROLES = frozenset(Role) - {Role.TRAILER, Role.DOLLY}
ROLES: dict[UnitKind, frozenset[Role]] = {
    UnitKind.RIGID: MOTOR_ROLES,
    UnitKind.TRACTOR: MOTOR_ROLES,
    UnitKind.TRAILER: frozenset({Role.TRAILER, Role.LIFT}),
    UnitKind.DOLLY: frozenset({Role.DOLLY}),
}
DRAWN_BY: dict[CouplingKind, frozenset[UnitKind]] = {
    CouplingKind.KINGPIN: frozenset({UnitKind.TRACTOR, UnitKind.DOLLY}),
    CouplingKind.TURNTABLE: frozenset({UnitKind.DOLLY}),
    CouplingKind.DRAWBAR: frozenset({UnitKind.RIGID, UnitKind.TRACTOR, UnitKind.TRAILER}),
}


def check_units(vehicle: Vehicle) -> None:
    """Refuse units without axles, axles without a unit, and units out of order."""
    ids = [unit.id for unit in vehicle.units]
    for place, unit in enumerate(vehicle.units):
        if unit.id in ids[:place]:
            raise VehicleRefused(
                of_unit(unit.id, "id"), unit.id, "is there twice; give each its own"
            )
        if unit.kind.is_motor and place > 0:
            reason = "a motor vehicle is the foremost unit, and there is one"
            raise VehicleRefused(of_unit(unit.id, "kind"), unit.kind.value, reason)
    for axle in vehicle.axles:
        if axle.unit not in ids:
            reason = f"no such unit; there are {', '.join(ids)}"
            raise VehicleRefused(of_axle(axle.number, "unit"), axle.unit, reason)
    order = [name for name, _ in groupby(axle.unit for axle in vehicle.axles)]
    for name in ids:
        if name not in order:
            raise VehicleRefused(of_unit(name, "id"), name, "has no axle")
    if order != ids:
        reason = f"units are listed front to rear as their axles stand: {', '.join(order)}"
        raise VehicleRefused("unit", ids, reason)


def check_unit(vehicle: Vehicle, unit: Unit) -> None:
    """Refuse axles that do not fit their unit, and a coupling that does not."""
    axles = vehicle.axles_of(unit)
    for axle in axles:
        if axle.role not in ROLES[unit.kind]:
            fit = ", ".join(sorted(role.value for role in ROLES[unit.kind]))
            reason = f"unit {unit.id} is a {unit.kind}, whose axles are {fit}"
            raise VehicleRefused(of_axle(axle.number, "role"), axle.role.value, reason)
    _references(unit, axles)
    if unit.kind.is_motor:
        _motor(unit, axles)
        return
    if unit.centre_line is not None:
        reason = "a towed unit is told against the line from its pin; leave the key out"
        raise VehicleRefused(of_unit(unit.id, "centre_line"), list(unit.centre_line), reason)
    _coupling(vehicle, unit)


def _references(unit: Unit, axles: tuple[Axle, ...]) -> None:
    named = [axle for axle in axles if axle.reference]
    if len(named) > 1:
        first, second, *_ = named
        reason = f"axle {first.number} is the reference of unit {unit.id} already; there is one"
        raise VehicleRefused(of_axle(second.number, "reference"), True, reason)
    if named and unit.kind.is_motor and named[0].role is not Role.DRIVE:
        reason = "a motor vehicle goes where a drive axle pushes it; name one of those"
        raise VehicleRefused(of_axle(named[0].number, "reference"), True, reason)


def _motor(unit: Unit, axles: tuple[Axle, ...]) -> None:
    if unit.coupling is not None:
        reason = "a motor vehicle is not drawn; the coupling belongs to the unit behind"
        raise VehicleRefused(of_unit(unit.id, "coupling"), unit.coupling.kind.value, reason)
    roles = [axle.role for axle in axles]
    if Role.STEER not in roles:
        reason = "a motor vehicle has a steer axle; give one the role steer"
        raise VehicleRefused(of_unit(unit.id, "kind"), unit.kind.value, reason)
    if Role.DRIVE not in roles:
        reason = "a motor vehicle has a drive axle; give one the role drive"
        raise VehicleRefused(of_unit(unit.id, "kind"), unit.kind.value, reason)
    for axle in axles:
        if axle.role is Role.STEER and axle.number != axles[0].number:
            reason = "the foremost axle alone is steer; a further one is second_steer"
            raise VehicleRefused(of_axle(axle.number, "role"), axle.role.value, reason)
    if roles[0] is not Role.STEER:
        reason = "the foremost axle of a motor vehicle is steer"
        raise VehicleRefused(of_axle(axles[0].number, "role"), roles[0].value, reason)
    if roles.count(Role.SECOND_STEER) > 1:
        last = [axle for axle in axles if axle.role is Role.SECOND_STEER][-1]
        reason = "there is a second steer axle already, and no third is known here"
        raise VehicleRefused(of_axle(last.number, "role"), last.role.value, reason)
    _centre_line(unit, axles)


def _centre_line(unit: Unit, axles: tuple[Axle, ...]) -> None:
    if unit.centre_line is None:
        return
    where, numbers = of_unit(unit.id, "centre_line"), [axle.number for axle in axles]
    for number in unit.centre_line:
        if number not in numbers:
            reason = f"no such axle in unit {unit.id}; there are {numbers}"
            raise VehicleRefused(where, number, reason)
    front, rear = unit.centre_line
    if front >= rear:
        reason = "it runs through two axles, the foremost first"
        raise VehicleRefused(where, list(unit.centre_line), reason)


def _coupling(vehicle: Vehicle, unit: Unit) -> None:
    coupling, where = unit.coupling, of_unit(unit.id, "coupling")
    if coupling is None:
        reason = f"a {unit.kind} is told against the line from its pin: say what draws it"
        raise VehicleRefused(where, None, reason)
    if unit.kind is UnitKind.DOLLY and coupling.kind is not CouplingKind.DRAWBAR:
        reason = "a dolly is drawn by its drawbar"
        raise VehicleRefused(f"{where}.kind", coupling.kind.value, reason)
    reference = vehicle.axle(reference_axle(vehicle, unit))
    if coupling.behind_m > reference.behind_m - LEAST_LINE_M:
        reason = f"not {LEAST_LINE_M:g} m ahead of axle {reference.number}, which stands at "
        reason += f"{reference.behind_m:g}; the line between them shows where the unit points"
        raise VehicleRefused(f"{where}.behind_m", coupling.behind_m, reason)
    _drawn(vehicle, unit, coupling)


def _drawn(vehicle: Vehicle, unit: Unit, coupling: Coupling) -> None:
    where = of_unit(unit.id, "coupling.to")
    place = vehicle.units.index(unit)
    ahead = vehicle.units[place - 1] if place else None
    if coupling.to is None:
        if ahead is not None:
            reason = f"unit {ahead.id} stands ahead; name it, or leave it out of the file"
            raise VehicleRefused(where, None, reason)
        return
    if ahead is None or coupling.to != ahead.id:
        reason = "it is drawn by the unit ahead of it" + (f", {ahead.id}" if ahead else "; none is")
        raise VehicleRefused(where, coupling.to, reason)
    if ahead.kind not in DRAWN_BY[coupling.kind]:
        fit = " or ".join(sorted(DRAWN_BY[coupling.kind]))
        reason = f"a {coupling.kind} couples to a {fit}, and {ahead.id} is a {ahead.kind}"
        raise VehicleRefused(where, coupling.to, reason)
