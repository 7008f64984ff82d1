"""What is wrong with a file that a person wrote, as an error of that file.

For files of corrections and levels; the words are those of ``calibration.faults``."""

from typing import Any

from pydantic import BaseModel, ValidationError

from calibration import faults
from ingest.core.errors import ConfigError


def fault_of(
    where: str, error: ValidationError, raw: dict[str, Any], model: type[BaseModel] | None = None
) -> ConfigError:
    """Return the first fault: which key, its value, why not, and what to do."""
    fault = faults.fault_of(error, raw, model)
    return ConfigError(where, fault.place or "file", fault.value, fault.allowed)
