"""CSV files of readings: header row, comma, point, UTF-8; unknown columns ignored."""

import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.files.table import NotCsv, csv_lines
from ingest.core.errors import InputError
from ingest.core.reading import MOST_BYTES, read_file

F64 = NDArray[np.float64]

STANDARD_INPUT = "-"


def read_bytes(path: str) -> tuple[str, bytes]:
    """Return a file's name for messages and its content; ``-`` is standard input.

    Raises: ``InputError``.
    """
    name = "standard input" if path == STANDARD_INPUT else path
    try:
        if path == STANDARD_INPUT:
            raw = sys.stdin.buffer.read(MOST_BYTES + 1)
        else:
            raw = read_file(Path(path))
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise InputError(name, None, reason[0].lower() + reason[1:]) from error
    if len(raw) > MOST_BYTES:
        raise InputError(name, None, f"larger than {MOST_BYTES // 2**20} MiB")
    return name, raw


def read_text(path: str) -> tuple[str, str]:
    """Return a file's name for messages and its text. Raises ``InputError``."""
    name, raw = read_bytes(path)
    return name, as_utf8(name, raw)


def as_utf8(name: str, raw: bytes) -> str:
    """Return the text of a file's content, without a byte order mark. Raises ``InputError``."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(name, line, "not UTF-8 text; save the file as UTF-8") from error


@dataclass(frozen=True, slots=True)
class Table:
    """Columns by header, each of shape (n,), n >= 1; ``name`` and ``lines`` (n) for messages."""

    name: str
    columns: dict[str, F64]
    lines: tuple[int, ...]


def read_table(path: str, needed: Sequence[str], optional: Sequence[str] = ()) -> Table:
    """Return the columns asked for.

    Raises: ``InputError`` naming file, line (the header is line 1) and what is wrong.
    """
    name, text = read_text(path)
    rows = _rows(name, text)
    _, header = next(rows, (1, None))
    if header is None or not any(cell.strip() for cell in header):
        raise InputError(name, None, f"empty; a header row with {', '.join(needed)} is needed")
    titles = [cell.strip() for cell in header]
    wanted = [*needed, *(title for title in optional if title in titles)]
    places = {title: _place(name, titles, title) for title in wanted}
    found: dict[str, list[float]] = {title: [] for title in wanted}
    lines = []
    for line, cells in rows:
        if len(cells) != len(titles):
            reason = f"{len(cells)} cells, the header has {len(titles)}"
            if len(cells) > len(titles):
                reason += " (decimal commas? use points)"
            raise InputError(name, line, reason)
        lines.append(line)
        for title, place in places.items():
            found[title].append(_number(name, line, title, cells[place]))
    if not lines:
        raise InputError(name, None, "no data rows after the header")
    columns = {title: np.array(values) for title, values in found.items()}
    return Table(name, columns, tuple(lines))


def _rows(name: str, text: str) -> Iterator[tuple[int, list[str]]]:
    try:
        yield from csv_lines(text)
    except NotCsv as error:
        raise InputError(name, error.line, error.reason) from error


def _place(name: str, titles: list[str], title: str) -> int:
    count = titles.count(title)
    if count == 1:
        return titles.index(title)
    what = f"column {title} is there twice" if count else f"no column {title}"
    shown = ", ".join(titles)[:120]
    raise InputError(name, 1, f"{what}; the header has: {shown}{_hint(titles)}")


def _hint(titles: list[str]) -> str:
    """Return what a header that is none suggests."""
    if len(titles) == 1 and ";" in titles[0]:
        return " (semicolons? separate by commas)"
    if not any(any(letter.isalpha() for letter in title) for title in titles):
        return " (these are data; the first line must name the columns)"
    return ""


def _number(name: str, line: int, title: str, cell: str) -> float:
    try:
        # float() takes underscores between digits, which no instrument writes.
        value = float(cell) if "_" not in cell else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        shown = cell.strip()[:24]
        raise InputError(name, line, f"{title} is {shown!r}, not a finite number")
    return value
