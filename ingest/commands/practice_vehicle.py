"""A simulated vehicle with its adjusters from a vehicle file, with troubles, to practise on."""

import math
from collections.abc import Callable, Collection, Mapping

from ingest.commands.practice_parts import simulated_part
from ingest.core.frames import Side
from ingest.geometry.corrections.tie_rod import TieRod
from ingest.geometry.corrections.wanted import Quantity
from ingest.job.vehicle.axles import Axle, Role
from ingest.job.vehicle.reference import PIN, line_of, reference_axle
from ingest.job.vehicle.vehicle import Unit, Vehicle
from ingest.payload.vehicle_network import TRACK_SIGMA_M, WHEELBASE_SIGMA_M
from ingest.simulator.head import Head
from ingest.simulator.practice import AxlePlan, Practice, Trouble, VehiclePlan, draw_practice
from ingest.simulator.truth_by_topic import Frame
from ingest.simulator.vehicle import WheelAt


def practice_on(
    vehicle: Vehicle,
    seed: int,
    troubles: Collection[Trouble],
    clock: Callable[[], float],
    heads: Mapping[str, Head] | None = None,
) -> Practice:
    """Draw a vehicle as its file has it, and put troubles somewhere on it, or on heads."""
    return draw_practice(plan_of(vehicle), seed, troubles, clock, heads)


def plan_of(vehicle: Vehicle) -> VehiclePlan:
    """Return what the simulator needs to know of a vehicle.

    It is built as far off its file as a job's network takes it to be, where nobody taped it.
    """
    return VehiclePlan(
        vehicle.name,
        tuple(_axle(vehicle, axle) for axle in vehicle.axles),
        tuple(_frame(vehicle, unit, leads=not at) for at, unit in enumerate(vehicle.units)),
        frozenset(
            frozenset(WheelAt(wheel.axle, wheel.side) for wheel in each.wheels)
            for each in vehicle.blocked
        ),
        TRACK_SIGMA_M,
        WHEELBASE_SIGMA_M / math.sqrt(2.0),
    )


def _x_m(vehicle: Vehicle, behind_m: float) -> float:
    """Return a place along the vehicle, the last axle being zero and x growing forward."""
    return vehicle.axles[-1].behind_m - behind_m


def _axle(vehicle: Vehicle, axle: Axle) -> AxlePlan:
    tie = axle.adjuster(Quantity.TOTAL_TOE)
    held = tie.part.held if tie is not None and isinstance(tie.part, TieRod) else None
    return AxlePlan(
        axle.number,
        _x_m(vehicle, axle.behind_m),
        axle.track_m,
        axle.tyre.diameter_m / 2.0,
        axle.dual,
        axle.role.is_steered,
        axle.beam,
        tuple(simulated_part(each.part, held or Side.LEFT) for each in axle.adjusters),
    )


def _frame(vehicle: Vehicle, unit: Unit, *, leads: bool) -> Frame:
    axles = vehicle.axles_of(unit)
    reference = reference_axle(vehicle, unit)
    ahead, behind = line_of(vehicle, unit, reference)
    pin_m = None
    if ahead == PIN and unit.coupling is not None:
        height_m = unit.coupling.height_m
        if height_m is None:
            height_m = axles[0].tyre.diameter_m / 2.0
        pin_m = _x_m(vehicle, unit.coupling.behind_m), 0.0, height_m
    return Frame(
        tuple(axle.number for axle in axles),
        (axles[0].number if isinstance(ahead, str) else ahead, behind),
        reference,
        tuple(axle.number for axle in axles if axle.role is Role.DRIVE),
        tuple(axle.number for axle in axles if axle.role.is_steered),
        pin_m,
        leads,
    )
