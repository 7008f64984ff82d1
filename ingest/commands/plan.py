"""``levelhead plan``: in which order a vehicle is measured and set, with the reasons."""

import argparse
import json
import sys
from collections.abc import Iterator
from typing import Any

from ingest.commands.vehicle_source import add_vehicle, vehicle_called
from ingest.core.errors import InputError
from ingest.job.plan.plan import Plan, UnitPlan, plan
from ingest.job.plan.progress import Cannot
from ingest.job.plan.steps import WORDS, Do, Step
from ingest.job.plan.task import Line
from ingest.job.vehicle.axles import Wheel
from ingest.job.vehicle.vehicle import Vehicle

EXIT_NO_PLAN = 3
MOST_PAIRS = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the vehicle, the heads, and what cannot be done."""
    add_vehicle(parser)
    parser.add_argument(
        "--heads", type=int, default=2, metavar="N", help="pairs of heads at hand (default 2)"
    )
    parser.add_argument(
        "--seized",
        type=int,
        action="append",
        default=[],
        metavar="AXLE",
        help="an axle that nothing can be set of today; several times for several",
    )
    parser.add_argument(
        "--blocked",
        action="append",
        default=[],
        metavar="L1-L2",
        help="a sightline that cannot be today, by its wheels; several times for several",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Plan and print. Exit 3 where there is no plan, with what would help."""
    if not 1 <= args.heads <= MOST_PAIRS:
        reason = f"{args.heads} pairs of heads; 1 to {MOST_PAIRS} can be planned for"
        raise InputError("--heads", None, reason)
    vehicle = vehicle_called(args.vehicle, args.state)
    for axle in args.seized:
        _see_axle(vehicle, "--seized", axle)
    blocked = frozenset(_line(vehicle, text) for text in args.blocked)
    found = plan(vehicle, args.heads, cannot=Cannot(frozenset(args.seized), blocked))
    if args.json:
        print(json.dumps(as_json(found)))
    else:
        print("\n".join(_lines(found)))
    if found.possible:
        return 0
    for unit in found.units:
        if unit.hindrance is not None:
            print(f"levelhead plan: refused: {_hindered(unit)}", file=sys.stderr)
    return EXIT_NO_PLAN


def _see_axle(vehicle: Vehicle, option: str, axle: int) -> None:
    if not 1 <= axle <= len(vehicle.axles):
        reason = f"no axle {axle}; {vehicle.id} has {len(vehicle.axles)}"
        raise InputError(option, None, reason)


def _line(vehicle: Vehicle, text: str) -> Line:
    try:
        one, other = (Wheel.named(name) for name in text.split("-"))
    except ValueError:
        reason = f"{text!r} is no sightline; write its two wheels, as in L1-L2"
        raise InputError("--blocked", None, reason) from None
    for wheel in (one, other):
        _see_axle(vehicle, "--blocked", wheel.axle)
    if one == other or (one.axle != other.axle and one.side is not other.side):
        reason = f"{text}: a line runs along one side, or across one axle"
        raise InputError("--blocked", None, reason)
    return frozenset((one, other))


def _lines(found: Plan) -> Iterator[str]:
    vehicle, cost = found.vehicle, found.cost
    heads = "1 pair of heads" if found.pairs == 1 else f"{found.pairs} pairs of heads"
    if found.possible:
        count = f"{_many(cost.mountings, 'mounting')} in {_many(cost.set_ups, 'set-up')}"
        yield f"{vehicle.name} with {heads}: {count}"
    else:
        yield f"{vehicle.name} with {heads}: not all can be done"
    number = 0
    for unit in found.units:
        if len(found.units) > 1:
            yield f"unit {unit.unit}"
        if unit.hindrance is not None:
            yield f"  no plan: {unit.hindrance.reason}."
        for step in unit.steps:
            number += 1
            yield f"{number:>3}. {step.text}"
            yield f"     Why: {step.why}"
            if len(step.quantities) > 1:
                for quantity, reason in zip(step.quantities, step.reasons, strict=True):
                    yield f"       {WORDS[quantity]}: {reason}."


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _hindered(unit: UnitPlan) -> str:
    assert unit.hindrance is not None
    helps = " or ".join(unit.hindrance.helps)
    told = f"; what would help: {helps}" if helps else ""
    return f"unit {unit.unit}: {unit.hindrance.reason}{told}"


def as_json(found: Plan) -> dict[str, Any]:
    """Return the plan as the JSON of the plain-file interface."""
    cost = found.cost
    return {
        "vehicle": found.vehicle.id,
        "heads": found.pairs,
        "possible": found.possible,
        "mountings": cost.mountings if found.possible else None,
        "set_ups": cost.set_ups if found.possible else None,
        "tied": cost.tied if found.possible else None,
        "order": [n for step in found.steps if step.do is Do.MOUNT for n in step.axles],
        "units": [_unit_json(unit) for unit in found.units],
        "steps": [_step_json(i, step) for i, step in enumerate(found.steps, start=1)],
    }


def _unit_json(unit: UnitPlan) -> dict[str, Any]:
    why = unit.hindrance
    return {
        "id": unit.unit,
        "reference_axle": unit.reference,
        "mountings": unit.cost.mountings if why is None else None,
        "reason": None if why is None else why.reason,
        "helps": [] if why is None else list(why.helps),
    }


def _step_json(number: int, step: Step) -> dict[str, Any]:
    return {
        "step": number,
        "unit": step.unit,
        "do": step.do.value,
        "axles": list(step.axles),
        "off": list(step.off),
        "stay": list(step.stay),
        "quantities": [quantity.value for quantity in step.quantities],
        "reasons": list(step.reasons),
        "told": list(step.told),
        "text": step.text,
        "why": step.why,
    }
