"""Readings as rows of text. What is written is what is fitted, so digits are decided here."""

import math
from collections.abc import Mapping, Sequence

from calibration.bench.capture import Settled
from calibration.bench.procedure import WITHDRAWN, Row

ANGLE_DIGITS = 6
"""A hundredth of the wire's step: a mean of many samples knows more than one."""

TRAILING = ("temperature_degc", "spread_deg", "n", "head", "time", WITHDRAWN)
"""Columns that every file may end with, in this order."""


def angle_text(angle_rad: float) -> str:
    """Return an angle as text in degrees; a zero has no sign."""
    return f"{math.degrees(angle_rad) + 0.0:.{ANGLE_DIGITS}f}".replace("-0.000000", "0.000000")


def reading_columns(reading: Settled, channels: Sequence[str]) -> dict[str, str]:
    """Return a reading's columns: its channels, temperature, spread and number of samples."""
    columns = {f"{c}_deg": angle_text(reading.mean[c]) for c in channels if c in reading.mean}
    temperature = reading.mean.get("temperature", math.nan)
    if math.isfinite(temperature):
        columns["temperature_degc"] = f"{temperature:.3f}"
    spreads = [reading.spread[c] for c in channels if c in reading.spread]
    if spreads and math.isfinite(max(spreads)):
        columns["spread_deg"] = angle_text(max(spreads))
    return columns | {"n": str(reading.n)}


def number(row: Row, column: str) -> float:
    """Return a number of a row, NaN where there is none."""
    text = row.get(column, "").strip()
    return float(text) if text else math.nan


def angle_rad(row: Row, column: str) -> float:
    """Return an angle of a row in radians."""
    return math.radians(number(row, column))


def pooled_spread_deg(rows: Sequence[Row]) -> float:
    """Return the root mean square of the rows' spreads, NaN where none says it."""
    spreads = [s for row in rows if math.isfinite(s := number(row, "spread_deg"))]
    return math.sqrt(sum(s * s for s in spreads) / len(spreads)) if spreads else math.nan


def header(rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the columns of a file: ``row`` first, those of every file last."""
    seen = dict.fromkeys(name for row in rows for name in row)
    own = [name for name in seen if name != "row" and name not in TRAILING]
    return ("row", *own, *(name for name in TRAILING if name in seen))


def as_csv(rows: Sequence[Row]) -> str:
    """Return a whole file."""
    names = header(rows)
    lines = [names, *(tuple(row.get(name, "") for name in names) for row in rows)]
    return "".join(",".join(map(_cell, line)) + "\n" for line in lines)


def numbered(rows: Sequence[Row], more: Sequence[Mapping[str, str]]) -> tuple[Row, ...]:
    """Return the rows of a file with more at its end, numbered on."""
    first = len(rows) + 1
    return (*rows, *({"row": str(first + i), **row} for i, row in enumerate(more)))


def _cell(text: str) -> str:
    if any(mark in text for mark in ',"\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text
