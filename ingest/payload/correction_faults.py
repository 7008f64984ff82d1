"""What is wrong with a file that a person wrote, in one line for a technician.

For files of corrections and levels; those of networks have words of their own."""

import reprlib
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ingest.core.errors import ConfigError

BOUNDS = {
    "greater_than": ("gt", "must be above {:g}"),
    "greater_than_equal": ("ge", "must be at least {:g}"),
    "less_than": ("lt", "must be below {:g}"),
    "less_than_equal": ("le", "must be at most {:g}"),
}
IN_WORDS = {
    "missing": "is needed",
    "extra_forbidden": "no such key here; see the document of the files for its spelling",
    "float_type": "a number is needed",
    "int_type": "a whole number is needed",
    "int_from_float": "a whole number is needed",
    "string_type": "a word is needed",
    "bool_type": "true or false is needed",
    "finite_number": "a finite number is needed",
    "tuple_type": "a list is needed",
    "date_from_datetime_parsing": "write the day as 2026-11-28",
    "date_parsing": "write the day as 2026-11-28",
    "date_type": "write the day as 2026-11-28",
    "model_type": "an object with keys is needed",
    "model_attributes_type": "an object with keys is needed",
    "union_tag_not_found": "is needed",
}
COUNTS = {
    "too_long": ("max_length", "too many; {} at the most"),
    "too_short": ("min_length", "too few; {} at the least"),
}
MM_PER_INCH = 25.4


def fault_of(where: str, error: ValidationError, raw: dict[str, Any]) -> ConfigError:
    """Return the first fault: which key, its value, why not, and what to do."""
    found = error.errors(include_url=False)
    # An adjuster of another kind lacks many keys, and its kind is what is wrong.
    first = next((fault for fault in found if fault["loc"][-1:] == ("kind",)), found[0])
    keys = _keys(first["loc"], raw)
    value: Any = first["input"]
    if first["type"].startswith("union_tag"):
        keys.append(str(first["ctx"]["discriminator"]).strip("'"))
        value = value.get(keys[-1]) if isinstance(value, dict) else value
    if first["type"] in ("missing", "union_tag_not_found"):
        value = None
    if first["type"] == "value_error" and isinstance(value, dict):
        value = _Shown("{...}")
    field = "".join(sign if sign.isprintable() else "?" for sign in ".".join(keys))[:80]
    return ConfigError(where, field or "file", shown(value), allowed(first, keys))


def _keys(place: tuple[int | str, ...], raw: dict[str, Any]) -> list[str]:
    """Return the place of a fault in keys of the file, without the library's names of models."""
    keys = [str(step) for step in place]
    if keys and keys[0] == raw.get("quantity"):
        del keys[0]
    adjuster = raw.get("adjuster")
    if keys[:1] == ["adjuster"] and isinstance(adjuster, dict):
        keys[1:2] = [key for key in keys[1:2] if key != adjuster.get("kind")]
    return keys


def allowed(fault: ErrorDetails, keys: list[str]) -> str:
    """Return what a value must be, in words; ``keys`` lead to it."""
    kind = fault["type"]
    key = next((key for key in reversed(keys) if not key.isdigit()), "")
    if kind in BOUNDS:
        name, words = BOUNDS[kind]
        return words.format(fault["ctx"][name]) + _unit_hint(kind, key, fault["input"])
    if kind == "union_tag_invalid":
        return f"choose one of {fault['ctx']['expected_tags']}"
    if kind == "literal_error":
        return f"choose {fault['ctx']['expected']}"
    if kind in COUNTS:
        name, words = COUNTS[kind]
        return words.format(fault["ctx"][name])
    if kind == "value_error":
        return str(fault["ctx"]["error"])
    return IN_WORDS.get(kind, fault["msg"].lower())


def _unit_hint(kind: str, key: str, value: object) -> str:
    """Return what an impossible length suggests: it was given in another unit."""
    large = kind.startswith("less")
    if not isinstance(value, (int, float)):
        return ""
    if key == "pitch_mm" and value < 0:
        return "; a pitch has no sign: where both ends screw, list both"
    if value <= 0:
        return ""
    if key == "pitch_mm" and large:
        return f"; threads an inch? {value:g} of them are {MM_PER_INCH / value:.3f} mm"
    if key.endswith("_m") and large:
        return f"; give metres ({value:g} mm are {value / 1e3:g})"
    if key.endswith("_mm") and not large:
        return "; give millimetres, not metres or inches"
    return ""


def shown(value: object) -> object:
    """Return a value that stays one short line when it is shown."""
    if value is None or isinstance(value, (bool, int, float)):
        return value
    if isinstance(value, str):
        return value if len(value) <= 40 else f"{value[:37]}..."
    return _Shown(reprlib.repr(value))


class _Shown(str):
    """Text that is its own representation."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)
