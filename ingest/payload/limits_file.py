"""The file of a set of limits, in TOML.

What was entered comes back as it was entered: numbers are kept as text, with their digits. The keys
are described in ``ingest/job/limits/FILES.md``.
"""

import contextlib
import datetime
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError, WithJsonSchema

from calibration.decision import Rule
from calibration.faults import fault_of, plain
from calibration.toml import NotToml, parse_toml
from ingest.core.errors import ConfigError, InputError
from ingest.core.frames import Side
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import LONGEST, Figures, Key, Limit, Load, Origin, axle_of
from ingest.job.limits.limitset import MOST_LIMITS, LimitSet, Version
from ingest.job.limits.quantities import Quantity
from ingest.job.limits.units import EnteredUnit
from ingest.payload.base import Part

FORMAT = "levelhead-limits/1"
COLUMNS = (
    *("axle", "quantity", "side", "load", "low", "nominal", "high", "unit", "across"),
    *("source", "date", "author"),
)
MOST_CHARACTERS = 1024 * 1024


def _as_entered(value: object) -> object:
    """Return a number as the text that it was in the file."""
    if isinstance(value, (int, Decimal)) and not isinstance(value, bool):
        return str(value)
    return value


Entered = Annotated[
    str,
    BeforeValidator(_as_entered),
    Field(min_length=1, max_length=40),
    WithJsonSchema({"type": ["string", "number"]}),
]
"""A number, or a text such as ``1/16`` or ``0:05.5``."""
Line = Annotated[str, Field(max_length=LONGEST)]


def _only_a_day(value: object) -> object:
    """Refuse times and counts of seconds, which the library would take for days."""
    day = value
    if isinstance(value, str):
        with contextlib.suppress(ValueError):
            day = datetime.date.fromisoformat(value)
    if type(day) is not datetime.date:
        raise ValueError("a day is needed, such as 2026-11-28")
    return day


Day = Annotated[datetime.date, BeforeValidator(_only_a_day)]


class VersionEntry(Part):
    """A version of a set by its name and number."""

    name: Line
    version: Annotated[int, Field(ge=1)]


class LimitEntry(Part):
    """One limit: of what, the figures as they were entered, and where they are from."""

    axle: Annotated[int, Field(strict=True)] | str
    """A number from the front, a role, ``every``, or ``vehicle``."""
    quantity: Quantity
    side: Side | None = None
    """Left out: of both sides."""
    load: Load
    low: Entered | None = None
    nominal: Entered | None = None
    high: Entered | None = None
    unit: EnteredUnit
    across: Line | None = None
    """What a length of an angle is measured across, such as ``22.5 in``."""
    source: Line
    date: Day
    author: Line

    def limit(self) -> Limit:
        """Return the limit. Raises ``LimitsError``."""
        return Limit(
            Key(axle_of(str(self.axle)), self.quantity, self.side, self.load),
            Figures(self.unit, self.low, self.nominal, self.high, self.across),
            Origin(self.source, self.date, self.author),
        )


class LimitsFile(Part):
    """One version of a set of limits."""

    format: Literal["levelhead-limits/1"]
    name: Line
    version: Annotated[int, Field(ge=1)]
    author: Line
    date: Day
    note: Line = ""
    rule: Rule = Rule.GUARD_U
    change: Line = ""
    """What this version did to the one before."""
    predecessor: VersionEntry | None = None
    restores: Annotated[int, Field(ge=1)] | None = None
    """The version that an undo brought back."""
    limit: Annotated[tuple[LimitEntry, ...], Field(max_length=MOST_LIMITS)] = ()


def parse_limits(text: str, where: str) -> LimitSet:
    """Read a set; ``where`` names the file in messages.

    Raises:
        ConfigError: it is no TOML, or a key is missing, unknown, or has a value that cannot be.
        InputError: a limit in it cannot be one.
    """
    raw = _toml(text, where)
    if raw.get("format") != FORMAT:
        allowed = f"this program reads {FORMAT}; a newer file needs the newer program"
        raise ConfigError(where, "format", raw.get("format"), allowed)
    try:
        read = LimitsFile.model_validate(raw)
    except ValidationError as error:
        raise ConfigError(where, *first_fault(error, raw, LimitsFile)) from error
    limits = tuple(_limit(where, at, entry) for at, entry in enumerate(read.limit, 1))
    before = read.predecessor
    try:
        return LimitSet(
            Version(read.name, read.version),
            read.author,
            read.date,
            read.note,
            read.rule,
            limits,
            None if before is None else Version(before.name, before.version),
            read.change,
            read.restores,
        )
    except LimitsError as error:
        raise InputError(where, None, str(error)) from error


def dump_limits(limits: LimitSet) -> str:
    """Return a set as TOML, which ``parse_limits`` reads back as the same set."""
    return "\n".join(_lines(limits)) + "\n"


def _lines(limits: LimitSet) -> Iterator[str]:
    yield f"format = {_quoted(FORMAT)}"
    yield f"name = {_quoted(limits.name)}"
    yield f"version = {limits.number}"
    yield f"author = {_quoted(limits.author)}"
    yield f"date = {limits.date.isoformat()}"
    for name in ("note", "change"):
        if text := getattr(limits, name):
            yield f"{name} = {_quoted(text)}"
    yield f"rule = {_quoted(limits.rule)}"
    if limits.predecessor is not None:
        before = limits.predecessor
        yield f"predecessor = {{name = {_quoted(before.name)}, version = {before.number}}}"
    if limits.restores is not None:
        yield f"restores = {limits.restores}"
    for limit in limits.limits:
        yield ""
        yield "[[limit]]"
        for column, cell in cells_of(limit).items():
            if cell:
                yield f"{column} = {_value(column, cell)}"


def cells_of(limit: Limit) -> dict[str, str]:
    """Return what a file says of a limit, by column, empty where there is nothing to say."""
    key, figures, origin = limit.key, limit.figures, limit.origin
    cells = (
        *(str(key.axle), key.quantity, key.side or "", key.load),
        *(figures.low or "", figures.nominal or "", figures.high or ""),
        *(figures.unit, figures.across or ""),
        *(origin.source, origin.date.isoformat(), origin.author),
    )
    return dict(zip(COLUMNS, (str(cell) for cell in cells), strict=True))


def _value(column: str, cell: str) -> str:
    """Return a value of TOML: bare where it is read back as it stands."""
    if column == "date" or (column == "axle" and cell.isdigit()):
        return cell
    if column in ("low", "nominal", "high") and re.fullmatch(r"-?(0|[1-9]\d*)(\.\d+)?", cell):
        read = tomllib.loads(f"x = {cell}", parse_float=Decimal)["x"]
        return cell if str(read) == cell else _quoted(cell)
    return _quoted(cell)


def _quoted(text: str) -> str:
    # A string of JSON is one of TOML, as the texts of a set hold no control characters.
    return json.dumps(text, ensure_ascii=False)


def _toml(text: str, where: str) -> dict[str, Any]:
    if len(text) > MOST_CHARACTERS:
        raise InputError(where, None, f"larger than {MOST_CHARACTERS} characters; is it the file?")
    try:
        return parse_toml(text, Decimal)
    except NotToml as error:
        raise InputError(where, None, str(error)) from error


def _limit(where: str, at: int, entry: LimitEntry) -> Limit:
    try:
        return entry.limit()
    except LimitsError as error:
        raise InputError(where, None, f"limit {at}, {error}") from error


def first_fault(
    error: ValidationError, raw: Mapping[str, Any], model: type[Part]
) -> tuple[str, object, str]:
    """Return key, value and what is allowed of the first fault; limits count from 1."""
    fault = fault_of(error, raw, model)
    key = "".join(f" {int(s) + 1}" if s.isdecimal() else f".{s}" for s in fault.keys).lstrip(".")
    return plain(key)[:80], fault.value, fault.allowed
