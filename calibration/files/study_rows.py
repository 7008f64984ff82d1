"""``study.csv``: settled results of a bay's study, a row each (columns in FILES.md)."""

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping

from calibration.errors import CalibrationFileError
from calibration.study import StudyReading

KEYS = ("row", "technician", "axle", "side", "mounting", "settling")
VALUES = {"camber_deg": "camber", "total_toe_deg": "total-toe"}
SIDES = ("left", "right", "both")
FOREIGN = re.compile(r"^(camber|total_toe|toe)(_(?!deg$).*)?$")
"""A known quantity in another unit, or in none: refused, never converted in silence."""


def parse_study_rows(text: str, where: str) -> tuple[StudyReading, ...]:
    """Read the results of a study; a row gives one for each of its filled quantities.

    Raises:
        CalibrationFileError: naming the row and what is wrong with it.
    """
    readings = []
    for expected, cells in enumerate(_rows(text, where), start=1):
        row = _count(cells["row"], "row", f"{where}, row {expected}")
        if row != expected:
            reason = f"row {row} where row {expected} should be; rows count 1, 2, 3, ..."
            raise CalibrationFileError(where, reason)
        readings += list(_readings(row, cells, f"{where}, row {row}"))
    if not readings:
        raise CalibrationFileError(where, "no rows of data after the header")
    return tuple(readings)


def _rows(text: str, where: str) -> Iterator[dict[str, str]]:
    """Yield the cells that are known, by column; blank lines are passed over."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    header: list[str] = []
    try:
        for line in reader:
            if not any(cell.strip() for cell in line):
                continue
            if not header:
                header = [cell.strip() for cell in line]
                _check_header(header, where)
                continue
            if len(line) != len(header):
                reason = f"line {reader.line_num} has {len(line)} cells, the header {len(header)}"
                raise CalibrationFileError(where, f"{reason}; decimal commas? use points")
            cells = {name: cell.strip() for name, cell in zip(header, line, strict=True)}
            if cells.get("moved", "0") not in ("", "0"):
                reason = f"row {cells['row']} is marked as moved; take that reading again"
                raise CalibrationFileError(where, reason)
            yield cells
    except csv.Error as error:
        raise CalibrationFileError(where, f"line {reader.line_num}: not CSV: {error}") from error


def _check_header(header: list[str], where: str) -> None:
    for name in header:
        if FOREIGN.match(name):
            reason = f"column {name}: only {' and '.join(VALUES)} are read; convert to degrees"
            raise CalibrationFileError(where, reason)
        if header.count(name) > 1:
            raise CalibrationFileError(where, f"column {name} is there twice; keep one")
    missing = [name for name in KEYS if name not in header]
    if not any(name in header for name in VALUES):
        missing.append(" or ".join(VALUES))
    if missing:
        raise CalibrationFileError(where, f"no column {', '.join(missing)}; see FILES.md")


def _readings(row: int, cells: Mapping[str, str], where: str) -> Iterator[StudyReading]:
    side, technician = cells["side"], cells["technician"]
    if side not in SIDES or not technician:
        reason = f"side is {side!r}; one of {', '.join(SIDES)}" if technician else "no technician"
        raise CalibrationFileError(where, reason)
    axle = _count(cells["axle"], "axle", where)
    mounting = _count(cells["mounting"], "mounting", where)
    settling = _count(cells["settling"], "settling", where)
    filled = {name: cells[name] for name in VALUES if cells.get(name)}
    if not filled:
        raise CalibrationFileError(where, f"neither {' nor '.join(VALUES)}; give one")
    for name, cell in filled.items():
        if (name == "camber_deg") == (side == "both"):
            reason = f"{name} with side {side}; camber is of a side, total toe of both"
            raise CalibrationFileError(where, reason)
        wheel = f"axle {axle}" if side == "both" else f"axle {axle} {side}"
        value = _number(cell, name, where)
        yield StudyReading(row, technician, wheel, mounting, settling, VALUES[name], value)


def _count(cell: str, name: str, where: str) -> int:
    if not re.fullmatch(r"[1-9][0-9]{0,5}", cell):
        reason = f"{name} is {cell!r}, not a whole number from 1 up"
        raise CalibrationFileError(where, reason)
    return int(cell)


def _number(cell: str, name: str, where: str) -> float:
    try:
        value = float(cell) if "_" not in cell else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > 90.0:
        reason = f"{name} is {cell[:24]!r}, not a finite number of degrees"
        raise CalibrationFileError(where, reason)
    return value
