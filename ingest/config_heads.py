"""``[[head]]`` of the configuration file: which links there are."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from ingest.core.errors import ConfigError
from ingest.drivers.ble import BleSettings
from ingest.drivers.serial import SerialSettings

LinkSettings = SerialSettings | BleSettings


class Table(BaseModel):
    """A table of the file. An unknown key is an error, since a misspelt one would be silent."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, use_attribute_docstrings=True
    )


class HeadTable(Table):
    """A link to a head, by port or by ble; a table of its own for each."""

    port: str | None = None
    """A serial port, as levelhead ports names it, or an address such as rfc2217://."""
    ble: str | None = None
    """Address of a Bluetooth LE head, or the name that it advertises."""
    adapter: str | None = None
    """Bluetooth adapter, such as hci0; default: the machine's own choice."""
    baud: int = 115_200
    """Speed of a serial port; over USB it mostly means nothing."""
    hold_s: Annotated[float, Field(ge=0)] = 0.040
    """Rest between two reads of a serial port; 0 reads at every arrival."""


def refuse_twins(where: str, heads: tuple[HeadTable, ...]) -> None:
    """Refuse a link that is named twice: ``ConfigError``."""
    for name in ("port", "ble"):
        named: set[str] = set()
        for at, head in enumerate(heads):
            value = getattr(head, name)
            if value is None:
                continue
            same = value.lower() if name == "ble" else value
            if same in named:
                reason = f"named twice; one link per {name}"
                raise ConfigError(where, f"head.{at}.{name}", value, reason)
            named.add(same)


def link_of(where: str, at: int, head: HeadTable) -> LinkSettings:
    """Return a head's link. Raises ``ConfigError`` for what cannot be."""
    if head.ble is not None:
        return _ble(where, at, head, head.ble)
    if head.port is None:
        raise ConfigError(where, f"head.{at}.port", None, "is needed, or ble")
    if head.adapter is not None:
        raise ConfigError(where, f"head.{at}.adapter", head.adapter, "only with ble")
    try:
        return SerialSettings(head.port, baud=head.baud, hold_s=head.hold_s)
    except ValueError as error:
        value: object = head.port
        name = "port"
        for other in ("baud", "hold_s"):
            if str(error).startswith(other):
                name, value = other, getattr(head, other)
        raise ConfigError(where, f"head.{at}.{name}", value, str(error)) from error


def _ble(where: str, at: int, head: HeadTable, ble: str) -> BleSettings:
    for name in ("port", "baud", "hold_s"):
        if name in head.model_fields_set:
            value = getattr(head, name)
            raise ConfigError(where, f"head.{at}.{name}", value, "not with ble: it has none")
    try:
        return BleSettings(ble, adapter=head.adapter)
    except ValueError as error:
        raise ConfigError(where, f"head.{at}.ble", ble, str(error)) from error
