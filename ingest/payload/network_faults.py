"""What is wrong with a network file, in one line: where, what, and what to do."""

from pydantic import ValidationError

BEYOND = ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number")
TYPES = ("direction", "angle", "azimuth", "distance")
NEEDED = {
    "sigma_deg": "state the standard uncertainty of the angle",
    "sigma_m": "state the standard uncertainty of the distance",
}


def fault_of(error: ValidationError) -> str:
    """Return one line for the first thing that is wrong: where, what and what to do."""
    fault = error.errors(include_url=False)[0]
    kind, loc = fault["type"], fault["loc"]
    where, name = _where(loc), str(loc[-1]) if loc else ""
    if kind in BEYOND:
        return f"{where} is {_shown(fault['input'])}: {_remedy(name)}"
    if kind == "missing":
        return f"{where}: missing; {NEEDED.get(name, 'it is needed')}"
    if kind == "extra_forbidden":
        return f"{where}: no such key here; correct its spelling, or take it out"
    if kind == "too_short":
        return f"{where}: too few; a network has two stations at the least, a pair two ends"
    if kind == "too_long":
        return f"{where}: too many; {fault['ctx']['max_length']} at the most"
    if kind == "string_pattern_mismatch":
        return f"{where}: a name is not empty, and has no line breaks or hidden signs"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return f"{where}: type must be one of {', '.join(TYPES)}"
    return f"{where}: {fault['msg'][0].lower()}{fault['msg'][1:]}"


def _where(loc: tuple[int | str, ...]) -> str:
    """Return the place of a fault as a path, without the steps that only our models know."""
    path = ""
    for i, step in enumerate(loc):
        if isinstance(step, int):
            path += f"[{step}]"
        elif not (step in TYPES and i == 2) and "constrained" not in step:
            path += f".{step}" if path else step
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
