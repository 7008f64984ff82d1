"""What is wrong with a vehicle file, in one line for a technician."""

from typing import Any

from pydantic import BaseModel, ValidationError

from calibration import faults
from ingest.core.errors import ConfigError

NOT_HERE = {
    "camber": "nothing adjusts the camber of a beam axle here; refer to the axle maker",
    "configuration": "follows from the axles; leave it out",
}


def fault_of(
    where: str, error: ValidationError, raw: dict[str, Any], model: type[BaseModel]
) -> ConfigError:
    """Return the first fault: which table and key, its value, why not, and what to do."""
    fault = faults.fault_of(error, raw, model)
    told = fault.allowed
    if fault.kind == "extra_forbidden":
        told = NOT_HERE.get(fault.keys[-1], told)
    return ConfigError(where, _place(list(fault.keys), raw), fault.value, told)


def _place(keys: list[str], raw: dict[str, Any]) -> str:
    """Return the place in words: ``axle 3: total_toe.pitch_mm``; tables count from 1."""
    head = ""
    if len(keys) > 1 and keys[1].isdecimal():
        name = str(int(keys[1]) + 1)
        if keys[0] == "unit":
            table = raw["unit"][int(keys[1])]
            name = str(table.get("id", name)) if isinstance(table, dict) else name
        head, keys = f"{keys[0]} {name}: ", keys[2:]
    path = faults.plain(".".join(keys))[: faults.LONGEST_PLACE]
    return (head + path).removesuffix(": ") or "file"
