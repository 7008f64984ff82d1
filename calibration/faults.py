"""What is wrong with what came from outside, in plain words: the one place that makes them.

A model's own error speaks to programmers: of types, of inputs, of unions. Whoever wrote a file, or
a display, is told the key as the file has it, its value, and what is needed instead.
"""

import difflib
import reprlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

LONGEST_PLACE = 80
LONGEST_VALUE = 40
LONGEST_WHY = 120
MOST_KEYS = 16
"""So many keys are listed for somebody who has misspelt one."""

MM_PER_INCH = 25.4
BOUNDS = {
    "greater_than": ("gt", "must be above {:g}"),
    "greater_than_equal": ("ge", "must be at least {:g}"),
    "less_than": ("lt", "must be below {:g}"),
    "less_than_equal": ("le", "must be at most {:g}"),
}
COUNTS = {
    "too_long": ("max_length", "too many; {} at the most"),
    "too_short": ("min_length", "too few; {} at the least"),
    "string_too_long": ("max_length", "too long; {} signs at the most"),
    "string_too_short": ("min_length", "too short; {} or more signs are needed"),
    "decimal_max_digits": ("max_digits", "too many digits; {} at the most"),
    "decimal_max_places": ("decimal_places", "too many digits after the point; {} at the most"),
    "decimal_whole_digits": ("whole_digits", "too many digits before the point; {} at the most"),
}
A_DAY = "a date is needed: write the day as 2026-11-28"
A_NUMBER = "a number is needed"
AN_INTEGER = "a whole number (an integer) is needed"
KEYED = (
    "an object with keys is needed; in TOML a table: its name in brackets on a line, its keys below"
)
LISTED = 'a list is needed, such as ["a", "b"]'
NOT_HERE = "no such key here"
TEXT = 'a text is needed, in quotes: "..."'
TRUTH = "true or false is needed"

IN_WORDS = {
    "missing": "is needed",
    "union_tag_not_found": "is needed",
    "int_type": "a whole number is needed",
    "int_parsing": AN_INTEGER,
    "int_parsing_size": "a smaller whole number is needed",
    "int_from_float": "a whole number is needed",
    "float_type": A_NUMBER,
    "float_parsing": A_NUMBER,
    "decimal_type": A_NUMBER,
    "decimal_parsing": A_NUMBER,
    "finite_number": "a finite number is needed",
    "string_type": TEXT,
    "string_unicode": "text in UTF-8 is needed",
    "path_type": 'a file\'s name is needed, in quotes: "..."',
    "bool_type": TRUTH,
    "bool_parsing": TRUTH,
    "tuple_type": LISTED,
    "list_type": LISTED,
    "set_type": LISTED,
    "model_type": KEYED,
    "model_attributes_type": KEYED,
    "dict_type": KEYED,
    "date_type": A_DAY,
    "date_parsing": A_DAY,
    "date_from_datetime_parsing": A_DAY,
    "date_from_datetime_inexact": A_DAY,
    "none_required": "leave it out, or write null",
}
PATTERNS = {
    r"^[a-z0-9_-]{1,32}$": "1 to 32 of a-z, 0-9, _ and -",
    r"^[0-9a-f]{16}$": "16 of 0-9 and a-f, as the head itself says them",
    r"^[0-9a-f]{64}$": "64 of 0-9 and a-f: a SHA-256",
    r"^([0-9a-f]{64})?$": "64 of 0-9 and a-f: a SHA-256, or nothing",
    r"^cal-[0-9]{4}-[0-9]{4,12}$": "a number such as cal-2026-0001",
    r"^[AB]$": "A or B",
}
"""What a text must look like, by the pattern that it does not match."""

NOT_AS_WRITTEN = "not written as it has to be; see its document for the form"
OTHERWISE = "cannot be used as it stands; see its document for what it may be"
"""Of a fault that has no words of its own: never those of the library."""


@dataclass(frozen=True, slots=True)
class Fault:
    """The first thing that is wrong: ``keys`` lead to it, ``value`` is None where it is missing."""

    kind: str
    keys: tuple[str, ...]
    value: object
    allowed: str

    @property
    def place(self) -> str:
        """Its keys in one short line; nothing where the whole is meant."""
        return plain(".".join(self.keys))[:LONGEST_PLACE]

    def __str__(self) -> str:
        where = f"{self.place}: " if self.keys else ""
        shows = self.value is not None and self.kind not in ("extra_forbidden", "value_error")
        return f"{where}{self.allowed}{f' (it is {self.value!r})' if shows else ''}"


def fault_of(
    error: ValidationError, raw: object = None, model: type[BaseModel] | None = None
) -> Fault:
    """Return the first fault.

    Args:
        error: what the model says.
        raw: what it was to be made of, so that the place is told in the file's own keys.
        model: whose keys may be there, so that a misspelt one is told the right one.
    """
    found = error.errors(include_url=False)
    first = _cause(found)
    keys, value = keys_of(first, raw), first["input"]
    if first["type"].startswith("union_tag"):
        keys.append(str(first["ctx"]["discriminator"]).strip("'"))
        value = value.get(keys[-1]) if isinstance(value, dict) else value
    if first["type"] in ("missing", "union_tag_not_found"):
        value = None
    if first["type"] == "value_error" and isinstance(value, dict):
        value = _Shown("{...}")
    if first["type"] == "extra_forbidden":
        told = f"{NOT_HERE}; {_right(keys, model)}"
    else:
        # A value that may be of several kinds is wrong in a way for each.
        alike = [f for f in found if keys_of(f, raw) == keys] if _of_kind(first) else [first]
        told = " or ".join(
            dict.fromkeys(allowed(f, keys) for f in alike if _of_kind(f) or f is first)
        )
    return Fault(first["type"], tuple(keys), shown(value), told)


def _cause(found: list[ErrorDetails]) -> ErrorDetails:
    """Return the fault that others follow from, else the first.

    A part of another kind lacks many keys, and its kind is what is wrong; where a key is missing
    and one beside it is not known, that is the same one, misspelt.
    """
    first = next((fault for fault in found if fault["loc"][-1:] == ("kind",)), found[0])
    if first["type"] != "missing":
        return first
    beside = (f for f in found if f["loc"][:-1] == first["loc"][:-1])
    return next((f for f in beside if f["type"] == "extra_forbidden"), first)


def _of_kind(fault: ErrorDetails) -> bool:
    """Say whether a value is of the wrong kind altogether, not merely out of bounds."""
    return fault["type"].endswith(("_type", "_parsing"))


def keys_of(fault: ErrorDetails, raw: object) -> list[str]:
    """Return the way to a fault as the file has it, without the steps that only a model knows."""
    loc = fault["loc"]
    if raw is None:
        return [str(step) for step in loc if isinstance(step, int) or not _of_models(step)]
    keys: list[str] = []
    inside: Any = raw
    for at, step in enumerate(loc):
        last_missing = fault["type"] == "missing" and at == len(loc) - 1
        there = (isinstance(inside, Mapping) and step in inside) or (
            isinstance(inside, (list, tuple)) and isinstance(step, int) and step < len(inside)
        )
        if not (there or last_missing or isinstance(step, int)):
            continue
        keys.append(str(step))
        inside = inside[step] if there else None
    return keys


def _of_models(step: str) -> bool:
    """Say whether a step is a name that the library gave to one of several choices."""
    return any(sign in step for sign in "[](){}") or step in ("int", "str", "float", "bool")


def allowed(fault: ErrorDetails, keys: Iterable[str]) -> str:
    """Return what a value must be, in words; ``keys`` lead to it."""
    kind = fault["type"]
    key = next((key for key in reversed(list(keys)) if not key.isdigit()), "")
    if kind in BOUNDS:
        name, words = BOUNDS[kind]
        return words.format(fault["ctx"][name]) + _unit_hint(kind, key, fault["input"])
    if kind in COUNTS:
        name, words = COUNTS[kind]
        return words.format(fault["ctx"][name])
    if kind == "union_tag_invalid":
        return f"choose one of {fault['ctx']['expected_tags']}"
    if kind in ("literal_error", "enum"):
        return f"choose {fault['ctx']['expected']}"
    if kind == "string_pattern_mismatch":
        return PATTERNS.get(str(fault["ctx"]["pattern"]), NOT_AS_WRITTEN)
    if kind in ("value_error", "assertion_error"):
        return str(fault["ctx"]["error"])
    if kind == "json_invalid":
        return f"invalid json: {fault['ctx']['error']}"
    return IN_WORDS.get(kind, OTHERWISE)


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


def _right(keys: list[str], model: type[BaseModel] | None) -> str:
    """Return what may stand in the place of a key that is not known, the nearest first."""
    known = _known(model, keys[:-1]) if model is not None else []
    if not known:
        return "see the document of the files for its spelling"
    near = difflib.get_close_matches(keys[-1], known, n=1)
    others = [key for key in known if key not in near]
    more = len(known) - MOST_KEYS
    listed = ", ".join([*near, *others][:MOST_KEYS])
    return f"there are: {listed}{f' and {more} more' if more > 0 else ''}"


def _known(model: type[BaseModel], way: Iterable[str]) -> list[str]:
    """Return the keys that may be where a way through a file leads, by the models on it."""
    models = [model]
    for step in way:
        if not step.isdigit():
            fields = [m.model_fields[step] for m in models if step in m.model_fields]
            models = [inner for field in fields for inner in _models(field.annotation)]
    keys = (f.alias or name for m in models for name, f in m.model_fields.items())
    return list(dict.fromkeys(keys))


def _models(kind: object) -> Iterator[type[BaseModel]]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    parts = get_args(kind)[:1] if get_origin(kind) is Annotated else get_args(kind)
    for part in parts:
        yield from _models(part)


def shown(value: object) -> object:
    """Return a value that stays one short line when it is shown."""
    if value is None or isinstance(value, (bool, int, float)):
        return value
    if isinstance(value, str):
        return value if len(value) <= LONGEST_VALUE else f"{value[: LONGEST_VALUE - 3]}..."
    if isinstance(value, (list, tuple, set, dict)):
        return _Shown(reprlib.repr(value))
    return _Shown(str(value)[:LONGEST_VALUE])


def said(error: Exception) -> str:
    """Return in a short line why a text is neither JSON nor TOML, as its reader says it."""
    if isinstance(error, RecursionError):
        return "nested too deep"
    if str(error).startswith("Exceeds the limit"):
        return "a number in it has thousands of digits"
    return plain(str(error))[:LONGEST_WHY]


def plain(text: str) -> str:
    """Return a text without signs that would break its line or turn it round."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)


class _Shown(str):
    """Text that is its own representation."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)
