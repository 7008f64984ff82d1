"""CSV files of the bench: a header row, commas, points, UTF-8; rows count 1, 2, 3, ..."""

import csv
import io
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation

from calibration.errors import CalibrationFileError

STILL_DEG = 0.05
"""A row whose samples spread wider was not at rest (our own choice; ten times a low-cost head's
noise)."""
MOST_DIGITS = 24
"""Longer cells hold no reading."""
ANGLES = ("deg", "rad", "mrad", "arcmin", "arcsec")
LENGTHS = ("mm", "m", "cm", "um", "in", "inch")
TEMPERATURES = ("degc", "degf", "k")
UNITS = (*ANGLES, *LENGTHS, *TEMPERATURES)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of readings: its number and its cells by column, as text."""

    where: str
    number: int
    cells: Mapping[str, str]

    def fault(self, reason: str) -> CalibrationFileError:
        """Return the error that names this row."""
        return CalibrationFileError(f"{self.where}, row {self.number}", reason)

    def has(self, column: str) -> bool:
        """Say whether a column is there and its cell is not empty."""
        return bool(self.text(column))

    def text(self, column: str) -> str:
        """Return a cell, empty where the column is not there."""
        return self.cells.get(column, "")

    def word(self, column: str, allowed: Collection[str]) -> str:
        """Return a cell that holds one of a few words. Raises ``CalibrationFileError``."""
        text = self.text(column)
        if text not in allowed:
            raise self.fault(f"{column} is {_shown(text)}; one of {', '.join(allowed)} is needed")
        return text

    def decimal(self, column: str) -> Decimal:
        """Return a number with its digits. Raises ``CalibrationFileError``."""
        text = self.text(column)
        try:
            # Underscores between digits are no instrument's.
            number = Decimal(text) if "_" not in text and len(text) <= MOST_DIGITS else None
        except InvalidOperation:
            number = None
        if number is None or not (number.is_finite() and math.isfinite(float(number))):
            raise self.fault(f"{column} is {_shown(text)}, not a finite number; put it right")
        return number

    def value(self, column: str) -> float:
        """Return a number. Raises ``CalibrationFileError``."""
        return float(self.decimal(column))

    def angle(self, column: str, limit_deg: float) -> float:
        """Return an angle in degrees, within a limit. Raises ``CalibrationFileError``."""
        angle = self.value(column)
        if abs(angle) > limit_deg:
            raise self.fault(f"{column} is {angle:g}, beyond {limit_deg:g} degrees")
        return angle

    def see_still(self, limit_deg: float) -> None:
        """See that the samples behind a row, where it tells, spread no wider than at rest.

        Raises ``CalibrationFileError``.
        """
        if self.has("spread_deg") and not 0.0 <= self.value("spread_deg") <= limit_deg:
            told = f"spread_deg is {self.text('spread_deg')}, beyond {limit_deg:.2g}"
            raise self.fault(f"{told}: not at rest; take it again")

    def count(self, column: str) -> int:
        """Return a whole number above zero. Raises ``CalibrationFileError``."""
        text = self.text(column)
        if not (text.isascii() and text.isdigit() and int(text[:MOST_DIGITS]) > 0):
            raise self.fault(f"{column} is {_shown(text)}; a whole number from 1 on is needed")
        return int(text[:MOST_DIGITS])

    def moment(self, column: str) -> datetime | None:
        """Return an RFC 3339 time with its offset, None where the cell is empty."""
        text = self.text(column)
        if not text:
            return None
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None:
            reason = f"{column} is {_shown(text)}; a time such as 2026-11-25T09:14:03Z is needed"
            raise self.fault(reason)
        return moment


def read_rows(
    text: str, where: str, needed: Sequence[str], stems: Mapping[str, str]
) -> tuple[Row, ...]:
    """Return the rows of a file, n >= 1; columns that nobody asks for are kept and ignored.

    A row whose ``withdrawn`` is 1 was taken back: it counts in the numbering and nowhere else.

    ``stems`` names quantities with the one column each that is read: the same quantity in
    another unit is refused, never converted in silence.

    Raises:
        CalibrationFileError: no CSV, a column missing, doubled or in another unit, rows that do
            not count 1, 2, 3, ..., or one marked as moved.
    """
    lines = _lines(text, where)
    header = next(lines, None)
    if header is None:
        raise CalibrationFileError(where, f"empty; a header with {', '.join(needed)} is needed")
    titles = [cell.strip() for cell in header[1]]
    _check_titles(titles, where, needed, stems)
    rows = [_row(where, titles, line, cells) for line, cells in lines]
    if not rows:
        raise CalibrationFileError(where, "no rows of data after the header")
    for expected, row in enumerate(rows, 1):
        _check_place(row, expected)
    standing = tuple(row for row in rows if not _withdrawn(row))
    if not standing:
        raise CalibrationFileError(where, "every row was withdrawn; take readings again")
    for row in standing:
        if row.text("moved") not in ("", "0"):
            raise row.fault("is marked as moved; take that reading again")
    return standing


class NotCsv(Exception):
    """The text is no CSV; ``line`` counts from 1."""

    def __init__(self, line: int, reason: str) -> None:
        super().__init__(f"line {line}: {reason}")
        self.line = line
        self.reason = reason


def csv_lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield line numbers and cells; blank lines are passed over. Raises ``NotCsv``."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except csv.Error as error:
        raise NotCsv(reader.line_num, f"not CSV: {error}") from error


def _lines(text: str, where: str) -> Iterator[tuple[int, list[str]]]:
    try:
        yield from csv_lines(text)
    except NotCsv as error:
        raise CalibrationFileError(where, str(error)) from error


def _check_titles(
    titles: list[str], where: str, needed: Sequence[str], stems: Mapping[str, str]
) -> None:
    for title in titles:
        if title and titles.count(title) > 1:
            raise CalibrationFileError(where, f"column {title} is there twice")
        read = _read_instead(title, stems)
        if read is not None:
            reason = f"column {title} is in a unit that is not read; give {read}"
            raise CalibrationFileError(where, reason)
    for title in needed:
        if title not in titles:
            shown = ", ".join(titles)[:120]
            hint = "; semicolons? separate by commas" if ";" in shown else ""
            reason = f"no column {title}; the header has: {shown}{hint}"
            raise CalibrationFileError(where, reason)


def _read_instead(title: str, stems: Mapping[str, str]) -> str | None:
    """Return the column that is read of a quantity that ``title`` has in another unit."""
    stem, _, unit = title.rpartition("_")
    read = stems.get(title) or (stems.get(stem) if unit in UNITS else None)
    return None if read == title else read


def _row(where: str, titles: list[str], line: int, cells: list[str]) -> Row:
    if len(cells) != len(titles):
        reason = f"{len(cells)} cells, the header has {len(titles)}"
        hint = "; decimal commas? use points" if len(cells) > len(titles) else ""
        raise CalibrationFileError(f"{where}, line {line}", reason + hint)
    by_title = {t: cell.strip() for t, cell in zip(titles, cells, strict=True) if t}
    text = by_title.get("row", "")
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise CalibrationFileError(f"{where}, line {line}", f"row is {_shown(text)}, not a count")
    return Row(where, int(text), by_title)


def _check_place(row: Row, expected: int) -> None:
    rule = "rows count 1, 2, 3, ... without a gap"
    if row.number < expected:
        raise row.fault(f"is doubled or out of order; {rule}: keep one of them, and number it so")
    if row.number > expected:
        raise row.fault(f"comes where row {expected} is missing; {rule}: put it back, or read it")


def _withdrawn(row: Row) -> bool:
    mark = row.text("withdrawn")
    if mark not in ("", "0", "1"):
        raise row.fault(f"withdrawn is {_shown(mark)}; 1 takes the row back, 0 or nothing keeps it")
    return mark == "1"


def _shown(text: str) -> str:
    return repr(text[:MOST_DIGITS])
