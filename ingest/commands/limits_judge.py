"""``levelhead limits judge``: a measured value held to what a set says of it."""

import argparse
import json
import math
from dataclasses import dataclass

from calibration.measured import Measured
from ingest.commands.limits_shelf import read_shelf
from ingest.commands.limits_text import limit_json, with_minus
from ingest.commands.limits_words import load_of, quantity_of, side_of, word
from ingest.core.errors import InputError
from ingest.job.limits.judging import Judgement, judge
from ingest.job.limits.limit import MOST_AXLES, ROLES
from ingest.job.limits.matching import Place
from ingest.job.limits.quantities import Of, Quantity
from ingest.job.limits.units import EnteredUnit, Scale, common_unit, scale_of


@dataclass(frozen=True, slots=True)
class NamedAxle:
    """An axle as the options name it."""

    number: int
    role: str | None


def judge_value(args: argparse.Namespace) -> str:
    """Judge and tell. Any decision is a result."""
    with read_shelf(args.state) as shelf:
        limits = shelf.find(args.set)
    place = _place(args)
    found = judge(limits, place, _measured(args, place.quantity), load_of(args))
    return json.dumps(_object(found)) if args.json else _text(place, found)


def _place(args: argparse.Namespace) -> Place:
    quantity, side = quantity_of(args), side_of(args)
    kind = quantity.kind
    if kind.has_sides and side is None:
        raise InputError("--side", None, f"{quantity} has sides; say left or right")
    if not kind.has_sides and side is not None:
        raise InputError("--side", None, f"{quantity} has no sides; leave it out")
    if args.role is not None and args.role not in ROLES:
        reason = f"{args.role[:24]!r} is no role of an axle; choose one of {', '.join(ROLES)}"
        raise InputError("--role", None, reason)
    if kind.of is Of.VEHICLE:
        if args.axle is not None:
            raise InputError("--axle", None, f"{quantity} is of the whole vehicle; leave it out")
        return Place(quantity)
    text = args.axle or ""
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= MOST_AXLES):
        reason = f"{quantity} is of an axle; give its number, from 1 to {MOST_AXLES}"
        raise InputError("--axle", None, reason)
    return Place(quantity, NamedAxle(int(text), args.role), side)


def _measured(args: argparse.Namespace, quantity: Quantity) -> Measured:
    usual = EnteredUnit(common_unit(quantity))
    unit = usual if args.unit is None else word("--unit", args.unit, EnteredUnit)
    try:
        scale = scale_of(quantity, unit, args.across)
    except ValueError as error:
        raise InputError("--unit, --across", None, str(error)) from error
    value, u = _number(args.value, "--value", unit), _number(args.u, "--u", unit)
    if u < 0:
        raise InputError("--u", None, f"{args.u} is negative; a standard uncertainty is not")
    try:
        si = scale.si(value)
    except ValueError as error:
        raise InputError("--value", None, str(error)) from error
    # Small beside the value's own scale, so its slope there is all that counts.
    return Measured.of(si, u * _slope(scale, si), source="given")


def _slope(scale: Scale, si: float) -> float:
    """Return how much a unit is worth at a value, rad or m."""
    one = scale.measured(Measured.of(si, 1.0, source="slope"))
    return 1.0 / one.u


def _number(text: str, option: str, unit: EnteredUnit) -> float:
    try:
        return float(unit.number(text))
    except ValueError as error:
        raise InputError(option, None, str(error)) from error


def _text(place: Place, found: Judgement) -> str:
    lines = [f"{place}: {found.decision}: {with_minus(found.text)}"]
    if found.limit is not None and found.value is not None:
        unit = found.limit.figures.unit
        symbol = "°" if unit is EnteredUnit.DEGREES_MINUTES else unit.symbol
        told = f"{found.value:.6g}{symbol}, U {found.U:.3g}{symbol}"
        lines.append(with_minus(f"  {told}, probability of conformity {found.p_conform:.4f}"))
    lines.append(f"  rule {found.rule}{'' if found.word == found.decision else f': {found.word}'}")
    if found.limit is not None:
        origin = found.limit.origin
        lines.append(f"  limit of {found.limit.key}: {origin.source}, {origin.date}")
    return "\n".join(lines)


def _object(found: Judgement) -> dict[str, object]:
    return {
        "decision": found.decision,
        "word": found.word,
        "why": found.why,
        "text": found.text,
        "rule": found.rule.value,
        "value": found.value,
        "U": None if found.U is None or not math.isfinite(found.U) else found.U,
        "p_conform": found.p_conform,
        "acceptance_low": found.acceptance_low,
        "acceptance_high": found.acceptance_high,
        "limit": None if found.limit is None else limit_json(found.limit),
    }
