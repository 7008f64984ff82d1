"""The answer of ``levelhead sweep`` as JSON: degrees, finite numbers or null."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calibration.measured import Measured, covariance
from ingest.commands.sweep_level import Standing
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.sweep.steering import Gap, Steering, cross_values
from ingest.geometry.sweep.turning import (
    SteeredAxle,
    rolling_outer,
    toe_out_on_turns,
)

NAMES = ("caster", "sai", "included_angle", "camber")


@dataclass(frozen=True, slots=True)
class Answer:
    """All that a sweep came to. ``base_m``: kingpin spacing and wheelbase, where given."""

    steerings: Sequence[Steering]
    steered: Sequence[tuple[float, float]]
    axle: SteeredAxle | None
    base_m: tuple[float, float] | None
    standing: Standing


def as_json(answer: Answer) -> dict[str, Any]:
    """Return one object: of one wheel, or of both with what is between them."""
    wheels = [
        _wheel(one, reached, answer.standing)
        for one, reached in zip(answer.steerings, answer.steered, strict=True)
    ]
    if answer.axle is None:
        return wheels[0]
    left, right = answer.steerings
    cross, whole = cross_values(left, right), cross_values(left, right, whole=True)
    return {
        "left": wheels[0],
        "right": wheels[1],
        **_cross(
            "caster", left.caster_rad - right.caster_rad, None if cross is None else cross.caster
        ),
        **_cross(
            "camber", left.camber_rad - right.camber_rad, None if cross is None else cross.camber
        ),
        **_cross("sai", _less(left.sai_rad, right.sai_rad), None if cross is None else cross.sai),
        **{
            f"u_cross_{name}_whole_deg": None if whole is None else u_deg(getattr(whole, name))
            for name in ("caster", "camber", "sai")
        },
        "turns": [turn_of(answer, inner) for inner in Side],
    }


def turn_of(answer: Answer, inner: Side) -> dict[str, Any]:
    """Return the toe-out on a turn to one side; null where it was not steered so far."""
    assert answer.axle is not None
    found = toe_out_on_turns(answer.axle, inner)
    told: dict[str, Any] = {"to": inner.value, "inner_deg": None, "outer_deg": None}
    told |= {"toe_out_deg": None, "u_toe_out_deg": None}
    if found is not None:
        told["inner_deg"], told["outer_deg"] = found.inner_rad / DEG, found.outer_rad / DEG
        told["toe_out_deg"] = found.toe_out_rad / DEG
        told["u_toe_out_deg"] = u_deg(found.toe_out)
    if answer.base_m is not None:
        ideal = None
        if found is not None:
            ideal = (found.inner_rad - rolling_outer(found.inner_rad, *answer.base_m)) / DEG
        told["rolling_toe_out_deg"] = ideal
    return told


def u_deg(measured: Measured | None) -> float | None:
    """Return a standard uncertainty in degrees, None where it is not known."""
    return None if measured is None or not math.isfinite(measured.u) else measured.u / DEG


def _less(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other


def _cross(name: str, value_rad: float | None, measured: Measured | None) -> dict[str, Any]:
    value = None if value_rad is None else value_rad / DEG
    return {f"cross_{name}_deg": value, f"u_cross_{name}_deg": u_deg(measured)}


def _wheel(one: Steering, reached: tuple[float, float], standing: Standing) -> dict[str, Any]:
    found = one.estimates
    values = (one.caster_rad, one.sai_rad, one.included_rad, one.camber_rad)
    if found is None:
        told: tuple[Measured | None, ...] = (None,) * 4
    else:
        told = (found.caster, found.sai, found.included, found.camber)
    answer: dict[str, Any] = {}
    for name, value, measured in zip(NAMES, values, told, strict=True):
        answer[f"{name}_deg"] = None if value is None else value / DEG
        answer[f"u_{name}_deg"] = u_deg(measured)
    for name in NAMES:
        told_whole = None if one.whole is None else getattr(one.whole, name.removesuffix("_angle"))
        answer[f"u_{name}_whole_deg"] = u_deg(told_whole)
    for name, u_rad in zip(("caster", "sai", "camber"), one.u_slip_rad, strict=True):
        known = found is not None and (name != "sai" or one.sai_rad is not None)
        answer[f"u_{name}_slip_deg"] = u_rad / DEG if known else None
    for name, by_rad in zip(("caster", "sai", "camber"), one.by_roll_rad, strict=True):
        known = found is not None and (name != "sai" or one.sai_rad is not None)
        answer[f"u_{name}_roll_deg"] = abs(by_rad) / DEG if known else None
    return answer | {
        "why_no_sai": one.why_no_sai,
        "axle_roll": one.axle_roll,
        "u_axle_roll": None if found is None or found.axle_roll is None else found.axle_roll.u,
        "covariance_deg2": _covariance(one),
        **_gap("incl_y", None if one.closure is None else one.closure.incl_y),
        **_gap("incl_x", None if one.closure is None else one.closure.incl_x),
        "left_turn_deg": reached[0] / DEG,
        "right_turn_deg": reached[1] / DEG,
        "n": one.n,
        "dof": one.dof,
        "rms_deg": one.rms_rad / DEG,
        "outliers": [row + 1 for row in one.outliers],
        "hints": list(one.hints),
        **_referred(one, standing),
    }


def _covariance(one: Steering) -> dict[str, Any] | None:
    """Return the covariance of what was fitted, in the order of its names."""
    found = one.estimates
    if found is None:
        return None
    named = {"caster": found.caster, "sai": found.sai, "camber": found.camber}
    there = {name: measured for name, measured in named.items() if measured is not None}
    matrix = covariance(list(there.values())) / DEG**2
    return {"names": list(there), "matrix": matrix.tolist()}


def _gap(name: str, gap: Gap | None) -> dict[str, Any]:
    if gap is None:
        return {f"closure_{name}_deg": None, f"u_closure_{name}_deg": None}
    u = gap.u_rad / DEG if math.isfinite(gap.u_rad) else None
    return {f"closure_{name}_deg": gap.rad / DEG, f"u_closure_{name}_deg": u}


def _referred(one: Steering, standing: Standing) -> dict[str, Any]:
    """Return what was told against the standing plane and the frame; null where it was not."""
    seen, frame = standing.to_plane(one), standing.to_frame(one)
    answer: dict[str, Any] = {}
    for name in ("caster", "sai", "camber"):
        value: Measured | None = None if seen is None else getattr(seen, name)
        answer[f"{name}_to_plane_deg"] = None if value is None else value.value / DEG
        answer[f"u_{name}_to_plane_deg"] = u_deg(value)
    answer["caster_to_frame_deg"] = None if frame is None else frame.value / DEG
    answer["u_caster_to_frame_deg"] = u_deg(frame)
    return answer
