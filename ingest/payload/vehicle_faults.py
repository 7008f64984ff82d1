"""What is wrong with a vehicle file, in one line for a technician."""

from typing import Any

from pydantic import ValidationError

from ingest.core.errors import ConfigError
from ingest.payload.correction_faults import allowed, shown

NOT_HERE = {
    "camber": "nothing adjusts the camber of a beam axle here; refer to the axle maker",
    "configuration": "follows from the axles; leave it out",
}


def fault_of(where: str, error: ValidationError, raw: dict[str, Any]) -> ConfigError:
    """Return the first fault: which table and key, its value, why not, and what to do."""
    found = error.errors(include_url=False)
    first = next((fault for fault in found if fault["loc"][-1:] == ("kind",)), found[0])
    keys = _keys(first["loc"], raw)
    value: Any = first["input"]
    if first["type"].startswith("union_tag"):
        keys.append("kind")
        value = value.get("kind") if isinstance(value, dict) else value
    if first["type"] in ("missing", "union_tag_not_found"):
        value = None
    if first["type"] == "extra_forbidden" and keys[-1] in NOT_HERE:
        return ConfigError(where, _place(keys, raw), shown(value), NOT_HERE[keys[-1]])
    return ConfigError(where, _place(keys, raw), shown(value), allowed(first, keys))


def _keys(loc: tuple[int | str, ...], raw: dict[str, Any]) -> list[str]:
    """Return the way to a fault as the file has it, without the names of the library's choices."""
    keys: list[str] = []
    inside: Any = raw
    for step in loc:
        kind = inside.get("kind") if isinstance(inside, dict) else None
        if step == kind and step not in inside:
            continue
        keys.append(str(step))
        try:
            inside = inside[step]
        except (KeyError, IndexError, TypeError):
            inside = None
    return keys


def _place(keys: list[str], raw: dict[str, Any]) -> str:
    """Return the place in words: ``axle 3: total_toe.pitch_mm``; tables count from 1."""
    head = ""
    if len(keys) > 1 and keys[1].isdecimal():
        name = str(int(keys[1]) + 1)
        if keys[0] == "unit":
            table = raw["unit"][int(keys[1])]
            name = str(table.get("id", name)) if isinstance(table, dict) else name
        head, keys = f"{keys[0]} {name}: ", keys[2:]
    path = "".join(sign if sign.isprintable() else "?" for sign in ".".join(keys))[:80]
    return (head + path).removesuffix(": ") or "file"
