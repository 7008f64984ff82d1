"""What a value must be, in plain words, by what a model says is wrong with it."""

from collections.abc import Iterable

from pydantic_core import ErrorDetails

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
    r"^ *([^- ]|$)": "not below zero; what the odometer shows, such as 412 300 km",
}
"""What a text must look like, by the pattern that it does not match."""

NOT_AS_WRITTEN = "not written as it has to be; see its document for the form"
OTHERWISE = "cannot be used as it stands; see its document for what it may be"
"""Of a fault that has no words of its own: never those of the library."""


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
