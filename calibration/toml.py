"""TOML as text, read in one way: what is none is said in one line, however it is broken."""

import tomllib
from collections.abc import Callable
from typing import Any

from calibration.faults import said


class NotToml(Exception):
    """A text is no TOML; ``str(error)`` says why and where, in one short line."""


def parse_toml(text: str, parse_float: Callable[[str], Any] = float) -> dict[str, Any]:
    """Return the tables of a text. Raises ``NotToml``."""
    try:
        return tomllib.loads(text, parse_float=parse_float)
    except (ValueError, RecursionError) as error:
        raise NotToml(f"not TOML: {said(error)}") from error
