"""All keys of the configuration file as a file to start from: each with its default and meaning."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic.fields import FieldInfo

from ingest.config_heads import HeadTable
from ingest.config_tables import ConfigFile

EXAMPLES = {("head", "port"): "usb:0403:6001:A50285BI", ("head", "ble"): "head-d52e"}


def template() -> str:
    """Return a TOML file in which every key stands as a comment, and nothing is set.

    Lines that begin with ``#|`` are keys and tables; other comments are for people.
    """
    lines = [
        "# Every key of a levelhead configuration, with its default and what it means.",
        "# Take the #| away from what you set, and from the [table] above it.",
        "# Relative paths are relative to this file.",
    ]
    for name, table in ConfigFile.model_fields.items():
        kind: Any = HeadTable if name == "head" else table.annotation
        lines += ["", f"# {kind.__doc__}", "#|[[head]]" if name == "head" else f"#|[{name}]"]
        for key, field in kind.model_fields.items():
            lines += _key(name, key, field)
    return "\n".join(lines)


def _key(table: str, name: str, field: FieldInfo) -> Iterator[str]:
    yield f"#     {' '.join((field.description or '').split())}"
    yield f"#|{name} = {_written(EXAMPLES.get((table, name), field.default))}"


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_written, value)) + "]"
    if isinstance(value, str | Path) or value is None:
        return f'"{value or ""}"'
    return str(value)
