"""A vehicle in words, and as the JSON of the plain-file interface."""

from collections.abc import Iterator
from typing import Any

from ingest.geometry.corrections.arms import Arms
from ingest.geometry.corrections.bar_pin import BarPins
from ingest.geometry.corrections.drag_link import DragLink
from ingest.geometry.corrections.eccentric import Eccentrics
from ingest.geometry.corrections.parts import AdjusterPart
from ingest.geometry.corrections.relay_rod import RelayRod
from ingest.geometry.corrections.shims import EndShims, LateralShims
from ingest.geometry.corrections.steering_stop import SteeringStop
from ingest.geometry.corrections.tie_rod import TieRod
from ingest.geometry.corrections.wedges import Wedges
from ingest.job.vehicle.axles import Adjuster, Axle, Wheel
from ingest.job.vehicle.reference import PIN, line_of, reference_axle
from ingest.job.vehicle.vehicle import Unit, Vehicle

NAMES: dict[type[AdjusterPart], str] = {
    Arms: "arms",
    Eccentrics: "eccentrics",
    EndShims: "shims",
    BarPins: "bar pins",
    LateralShims: "shims of a rod",
    TieRod: "tie rod",
    DragLink: "drag link",
    RelayRod: "relay rod",
    SteeringStop: "steering stop",
    Wedges: "wedges",
}


def as_text(vehicle: Vehicle) -> str:
    """Return a vehicle in words."""
    return "\n".join(_lines(vehicle))


def _lines(vehicle: Vehicle) -> Iterator[str]:
    yield f"{vehicle.id}: {vehicle.name}, {vehicle.configuration}"
    if vehicle.load is not None:
        state = vehicle.load.state.replace("_", " ")
        yield f"load: {state} ({vehicle.load.source})"
    for unit in vehicle.units:
        yield _unit(vehicle, unit)
        for axle in vehicle.axles_of(unit):
            yield from _axle(axle)
    for blocked in vehicle.blocked:
        one, other = sorted(blocked.wheels)
        by = f": {blocked.by}" if blocked.by else ""
        yield f"heads do not see from {one.id} to {other.id}{by}"


def _unit(vehicle: Vehicle, unit: Unit) -> str:
    front, rear = line_of(vehicle, unit)
    if front == PIN:
        line = f"the line from its pin to axle {rear}"
    else:
        line = f"the centre line through axles {front} and {rear}"
    drawn = "" if unit.coupling is None else f", drawn by its {unit.coupling.kind}"
    told = f"headings are told against {line}"
    reference = reference_axle(vehicle, unit)
    own = "" if reference == rear else f", scrub angles against axle {reference}"
    return f"unit {unit.id}: {unit.kind}{drawn}; {told}{own}"


def _axle(axle: Axle) -> Iterator[str]:
    place = f"{axle.behind_m:6.3f} m, track {axle.track_m:.3f} m"
    kind = ("" if axle.beam else ", no beam") + (", dual" if axle.dual else "")
    names = dict.fromkeys(f"{q} ({part})" for q, part in map(_named, axle.adjusters))
    can = f"can be set: {', '.join(names)}" if names else "nothing can be set"
    yield f"  axle {axle.number:<2} {axle.role.in_words:<12} {place}{kind}; {can}"
    height = axle.ride_height
    if height is not None:
        shown = f"{height.height_m * 1e3:g} mm, {height.between} ({height.source})"
        yield f"          ride height {shown}"


def _named(adjuster: Adjuster) -> tuple[str, str]:
    return adjuster.quantity.replace("_", " "), NAMES[type(adjuster.part)]


def as_json(vehicle: Vehicle) -> dict[str, Any]:
    """Return what follows from a vehicle file, beside the main of what stands in it."""
    load = vehicle.load
    return {
        "id": vehicle.id,
        "name": vehicle.name,
        "configuration": vehicle.configuration,
        "load": None if load is None else {"state": load.state.value, "source": load.source},
        "units": [_unit_json(vehicle, unit) for unit in vehicle.units],
        "axles": [_axle_json(axle) for axle in vehicle.axles],
        "blocked": [
            {"wheels": [wheel.id for wheel in _ends(each.wheels)], "by": each.by}
            for each in vehicle.blocked
        ],
    }


def _ends(wheels: frozenset[Wheel]) -> list[Wheel]:
    return sorted(wheels)


def _unit_json(vehicle: Vehicle, unit: Unit) -> dict[str, Any]:
    return {
        "id": unit.id,
        "kind": unit.kind.value,
        "coupling": None if unit.coupling is None else unit.coupling.kind.value,
        "reference_axle": reference_axle(vehicle, unit),
        "line": list(line_of(vehicle, unit)),
    }


def _axle_json(axle: Axle) -> dict[str, Any]:
    return {
        "number": axle.number,
        "unit": axle.unit,
        "role": axle.role.value,
        "behind_m": axle.behind_m,
        "track_m": axle.track_m,
        "toe_at_mm": round(axle.toe_diameter_m * 1e3, 3),
        "adjustable": [quantity.value for quantity in axle.quantities],
    }
