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

from calibration.fault_words import allowed

LONGEST_PLACE = 80
LONGEST_VALUE = 40
LONGEST_WHY = 120
MOST_KEYS = 16
"""So many keys are listed for somebody who has misspelt one."""

NOT_HERE = "no such key here"


class WrongAt(ValueError):
    """What several keys of a table contradict each other in: ``key`` is the one to look at.

    ``key`` leads there from that table, with a dot between its steps.
    """

    def __init__(self, key: str, why: str) -> None:
        super().__init__(why)
        self.keys = tuple(key.split("."))


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
    if first["type"] == "value_error" and isinstance(first["ctx"]["error"], WrongAt):
        for step in first["ctx"]["error"].keys:
            keys.append(step)
            value = _inside(value, step)
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


def _inside(value: object, step: str) -> object:
    """Return what a key or a place leads to; None where there is nothing."""
    if isinstance(value, Mapping):
        return value.get(step)
    if isinstance(value, (list, tuple)) and step.isdigit() and int(step) < len(value):
        return value[int(step)]
    return None


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
        # A number that stands for a list of one has no places in the file.
        alone = isinstance(inside, (int, float))
        if not (there or last_missing or (isinstance(step, int) and not alone)):
            continue
        keys.append(str(step))
        inside = inside[step] if there else None
    return keys


def _of_models(step: str) -> bool:
    """Say whether a step is a name that the library gave to one of several choices."""
    return any(sign in step for sign in "[](){}") or step in ("int", "str", "float", "bool")


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
