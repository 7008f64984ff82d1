"""What is wrong with a network file, in one line: where, what, and what to do."""

from typing import Any

from pydantic import BaseModel, ValidationError

from calibration import faults

BEYOND = ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number")
TYPES = ("direction", "angle", "azimuth", "distance")
NEEDED = {
    "sigma_deg": "state the standard uncertainty of the angle",
    "sigma_m": "state the standard uncertainty of the distance",
}


def fault_of(error: ValidationError, raw: dict[str, Any], model: type[BaseModel]) -> str:
    """Return one line for the first thing that is wrong: where, what and what to do."""
    fault = faults.fault_of(error, raw, model)
    kind, name = fault.kind, fault.keys[-1] if fault.keys else ""
    where = _where(fault.keys)
    if kind in BEYOND:
        return f"{where} is {_shown(fault.value)}: {_remedy(name)}"
    if kind == "missing":
        return f"{where}: missing; {NEEDED.get(name, 'it is needed')}"
    if kind == "too_short":
        return f"{where}: too few; a network has two stations at the least, a pair two ends"
    if kind == "string_pattern_mismatch":
        return f"{where}: a name is not empty, and has no line breaks or hidden signs"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return f"{where.removesuffix('.type')}: type must be one of {', '.join(TYPES)}"
    return f"{where}: {fault.allowed}"


def _where(keys: tuple[str, ...]) -> str:
    """Return the place of a fault as a path."""
    path = ""
    for step in keys:
        path += f"[{step}]" if step.isdecimal() else f".{faults.plain(step)}" if path else step
    return path or "file"


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)[:24]


def _remedy(name: str) -> str:
    if "sigma" in name:
        unit = "deg" if name.endswith("deg") else "m"
        return f"a standard uncertainty is a number above 0, in {unit}, and not so large"
    if name == "angle_deg":
        return "beyond 360; angles are in degrees, counter-clockwise from above"
    if name == "distance_m":
        return "a distance is above 0, in metres"
    if name.endswith("_m"):
        return "out of range for metres; is it in mm?"
    return "out of range; a port is at most 3 m from its hub, in metres"
