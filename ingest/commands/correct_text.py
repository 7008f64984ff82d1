"""What ``levelhead correct`` prints: words for a technician, or one object of figures.

The text leaves no calculation to the reader; the object has the unrounded numbers.
"""

import math
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from calibration.measured import Measured
from calibration.reporting import report
from calibration.units import Unit
from ingest.core.frames import Side
from ingest.geometry.corrections.stale import stale_after
from ingest.geometry.corrections.wanted import Correction, Outcome, Quantity, Step, Wanted

MM = 1e3
"""Millimetres in a metre."""

CAUTIONS = (
    "Chock the wheels that stay down. Lift where the vehicle maker allows, onto stands rated for "
    "the load; never work under a vehicle that hangs on a jack or on its air springs.",
    "Spring brakes, air suspension and a raised axle can move by themselves: make them safe as "
    "the vehicle maker says.",
    "The vehicle maker's instructions and local codes come first, also for what may be adjusted "
    "at all. Bent or worn running gear is replaced, never bent back or heated.",
)
AFTERWARDS = (
    "Tighten everything to the vehicle maker's torque, stand the vehicle on its wheels, let it "
    "settle, and measure again."
)
NOTHING = "Nothing is to be changed, and all that was measured holds."

NAMES: Mapping[Quantity, str] = MappingProxyType(
    {
        Quantity.AXLE_HEADING: "heading",
        Quantity.LATERAL_OFFSET: "lateral offset",
        Quantity.TOTAL_TOE: "total toe",
        Quantity.STEERING_WHEEL: "steering wheel",
        Quantity.STEER_PARALLELISM: "parallelism of the steer axles",
        Quantity.LOCK_ANGLE: "lock angle",
        Quantity.CASTER: "caster",
        Quantity.CAMBER: "camber",
    }
)
WAYS: Mapping[Quantity, tuple[str, str]] = MappingProxyType(
    {
        Quantity.AXLE_HEADING: ("to the left", "to the right"),
        Quantity.LATERAL_OFFSET: ("to the left", "to the right"),
        Quantity.TOTAL_TOE: ("toe-in", "toe-out"),
        Quantity.STEERING_WHEEL: ("to the left", "to the right"),
        Quantity.STEER_PARALLELISM: ("to the left", "to the right"),
        Quantity.LOCK_ANGLE: ("", ""),
        Quantity.CASTER: ("", ""),
        Quantity.CAMBER: ("", ""),
    }
)
"""What a positive and a negative value is called, where a sign alone would leave a doubt."""


def as_text(correction: Correction) -> str:
    """Return the correction for a technician."""
    lines = [*beyond_limits(correction), *map(heading, correction.outcomes)]
    if not correction.adjustable:
        return "\n".join([*lines, *(step.text for step in correction.steps)])
    before = (*CAUTIONS, *correction.before)
    lines += ["", "Before anything is loosened:", *(f"  {sentence}" for sentence in before), ""]
    if not correction.worth_doing:
        lines += left_alone(correction)
    lines += [f"{n}. {step.text}" for n, step in enumerate(correction.steps, 1)]
    lines += ["", *(expected(outcome) for outcome in correction.outcomes)]
    if not correction.changes:
        return "\n".join([*lines, "", NOTHING])
    lines += ["", "Mind:", *(f"  {sentence}" for sentence in correction.also)]
    lines += ["", AFTERWARDS, f"Until then these do not hold: {', '.join(_stale(correction))}."]
    return "\n".join(lines)


def as_json(kind: str, correction: Correction) -> dict[str, Any]:
    """Return the correction as finite numbers, unrounded, or null."""
    wanted = correction.outcomes[0].wanted
    return {
        "quantity": wanted.quantity.value,
        "axle": wanted.axle,
        "adjuster": kind,
        "adjustable": correction.adjustable,
        "worth_doing": correction.worth_doing,
        "beyond_limits": list(correction.beyond),
        "worsens": correction.worsens,
        "steps": [_step(step, kind) for step in correction.steps],
        "outcomes": [_outcome(outcome) for outcome in correction.outcomes],
        "before": list(correction.before),
        "also": list(correction.also) if correction.changes else [],
        "stale": list(_stale(correction)),
        "cautions": list(CAUTIONS) if correction.adjustable else [],
        "afterwards": AFTERWARDS if correction.changes else None,
    }


def _stale(correction: Correction) -> tuple[str, ...]:
    if not correction.changes:
        return ()
    wanted = correction.outcomes[0].wanted
    return stale_after(wanted.quantity, wanted.axle, wanted.side or "")


def _unit(quantity: Quantity) -> tuple[Unit, float]:
    """Return the unit that a quantity is shown in, and how much of it is one of ours."""
    if quantity is Quantity.LATERAL_OFFSET:
        return Unit.MILLIMETRE, MM
    return Unit.DEGREE, 180.0 / math.pi


def _said(wanted: Wanted, value: Measured) -> str:
    unit, factor = _unit(wanted.quantity)
    reported = report(value * factor, unit)
    plus, minus = WAYS[wanted.quantity]
    way = plus if reported.value > 0 else minus
    return f"{reported.screen()} ({way})" if way and reported.value else reported.screen()


def _target(wanted: Wanted) -> str:
    unit, factor = _unit(wanted.quantity)
    return f"{wanted.target * factor:.4g}{unit.symbol}".replace("-", "\u2212")


def _where(wanted: Wanted) -> str:
    side = {Side.LEFT: " left", Side.RIGHT: " right", None: ""}[wanted.side]
    return f"axle {wanted.axle}{side}"


def heading(outcome: Outcome) -> str:
    """Return what was measured, and what is wanted."""
    wanted = outcome.wanted
    said = _said(wanted, wanted.measured)
    return f"{_where(wanted)}, {NAMES[wanted.quantity]}: {said}, wanted {_target(wanted)}"


def _amount(wanted: Wanted, value: float) -> str:
    unit, factor = _unit(wanted.quantity)
    return f"{abs(value) * factor:.3f}{unit.symbol}"


def beyond_limits(correction: Correction) -> Iterator[str]:
    """Yield what is fitted and must not be, and what taking it out costs."""
    yield from correction.beyond
    if correction.beyond and correction.worsens:
        yield (
            f"It must come out although {_worse(correction)}; ask the vehicle maker what may put "
            "that right."
        )


def _worse(correction: Correction) -> str:
    wanted = correction.outcomes[0].wanted
    return (
        f"the steps leave {_amount(wanted, correction.worst_remaining)} of error, more than the "
        f"{_amount(wanted, correction.error)} that there is now"
    )


def left_alone(correction: Correction) -> Iterator[str]:
    """Yield why nothing needs to be turned."""
    if correction.worsens:
        yield f"Leave it: {_worse(correction)}."
    for outcome in correction.outcomes:
        wanted = outcome.wanted
        if wanted.told_apart:
            continue
        yield (
            f"Leave it: {_where(wanted)} differs from what is wanted by "
            f"{_amount(wanted, wanted.change)}, and the measurement cannot tell less than "
            f"{_amount(wanted, wanted.expanded_u)}."
        )
    yield "If it has to be adjusted all the same:"


def expected(outcome: Outcome) -> str:
    """Return what is to be expected of the steps, and what error remains."""
    wanted, remaining = outcome.wanted, outcome.remaining
    said = _said(wanted, wanted.measured + (outcome.expected - wanted.measured.value))
    text = (
        f"To be expected, {_where(wanted)}: {NAMES[wanted.quantity]} {said}; "
        f"{_amount(wanted, remaining.value)} of error remains"
    )
    if wanted.beyond_doubt(remaining.value):
        return f"{text}, more than the measurement's own doubt: this adjuster gives no better."
    return f"{text}."


def _outcome(outcome: Outcome) -> dict[str, Any]:
    wanted = outcome.wanted
    unit, factor = _unit(wanted.quantity)
    figures = {
        "measured": wanted.measured.value,
        "u_measured": wanted.measured.u,
        "target": wanted.target,
        "change": wanted.change,
        "expected": outcome.expected,
        "remaining": outcome.remaining.value,
        "u_remaining": outcome.remaining.u,
    }
    return {
        "side": wanted.side,
        "told_apart": wanted.told_apart,
        **{f"{name}_{unit.value}": figure * factor + 0.0 for name, figure in figures.items()},
    }


def _step(step: Step, kind: str) -> dict[str, Any]:
    turn, set_turn = (
        None if angle is None else math.degrees(angle) + 0.0
        for angle in (step.turn_rad, step.set_turn_rad)
    )
    angle = "wedge" if kind == "wedges" else "turn"
    pack = step.thicknesses_m
    return {
        "part": step.part,
        "side": step.side,
        "action": step.action,
        "text": step.text,
        "length_mm": None if step.length_m is None else step.length_m * MM + 0.0,
        f"{angle}_deg": turn,
        f"set_{angle}_deg": set_turn,
        "pack_mm": None if pack is None else [round(each * MM, 6) for each in pack],
    }
