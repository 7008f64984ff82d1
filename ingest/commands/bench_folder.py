"""The folder of a piece of bench work: its files are the state, read whole and written whole."""

import contextlib
import csv
import fcntl
import io
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from calibration.bench.procedure import Row
from calibration.bench.rows import as_csv
from calibration.bench.session import Session
from calibration.bench.steps import Series, Step
from calibration.errors import CalibrationFileError
from calibration.files.references import Reference, parse_references
from calibration.files.sheet import Sheet, parse_sheet
from calibration.files.table import read_rows
from ingest.commands.daycheck import see_no_day_ahead
from ingest.commands.tables import read_text
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError

SHEET = "sheet.toml"
REFERENCES = "references.toml"


@dataclass(frozen=True, slots=True)
class Folder:
    """Where the work lies; ``references`` is the file of the register."""

    path: Path
    references: Path

    @property
    def sheet(self) -> Path:
        """The sheet's file."""
        return self.path / SHEET

    def draft(self, letter: str) -> Path:
        """Return where the record of a head lies."""
        return self.path / f"{letter}.json"

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        """Keep a second bench out: each would write over the rows that the other took.

        The folder itself is locked, so nothing stays behind, not even after a kill. Where a
        file system knows no locks nobody is kept out. Raises ``InputError``.
        """
        handle = os.open(self.path, os.O_RDONLY)
        try:
            with contextlib.suppress(OSError):
                try:
                    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                except BlockingIOError:
                    reason = "another bench is at work in it; end that one, or name another folder"
                    raise InputError(str(self.path), None, reason) from None
            yield
        finally:
            os.close(handle)

    def read_sheet(self) -> Sheet:
        """Return the sheet. Raises ``InputError`` and ``CalibrationFileError``."""
        name, text = read_text(str(self.sheet))
        sheet = parse_sheet(text, name)
        see_no_day_ahead(name, "the work", sheet.issued)
        return sheet

    def read_references(self, ids: Iterable[str]) -> tuple[Reference, ...]:
        """Return the references that the sheet names; all of the register where it names none."""
        name, text = read_text(str(self.references))
        register = parse_references(text, name)
        return tuple(register.get(i) for i in ids) or register.references

    def read_rows(self, steps: Iterable[Step]) -> dict[str, tuple[Row, ...]]:
        """Return the rows that are there, by path within the folder."""
        paths = dict.fromkeys(step.path for step in steps if step.path)
        there = {path: self.path / path for path in paths}
        return {path: _rows(file) for path, file in there.items() if file.exists()}

    def save(self, path: str, rows: tuple[Row, ...]) -> None:
        """Write a file. Raises ``InputError``; what was there before is then still there."""
        file = self.path / path
        try:
            file.parent.mkdir(exist_ok=True)
        except OSError as error:
            reason = f"cannot be made: {(error.strerror or str(error)).lower()}"
            raise InputError(str(file.parent), None, reason) from error
        write_whole(file, as_csv(rows))


def check_rows(folder: Folder, steps: Iterable[Step], rows: Mapping[str, tuple[Row, ...]]) -> None:
    """See to it that every series can go on from its rows.

    Raises:
        CalibrationFileError: a column is missing, or holds what cannot be.
    """
    for step in steps:
        if not isinstance(step.work, Series) or step.path not in rows:
            continue
        session = Session((step,), rows)
        where = str(folder.path / step.path)
        try:
            _ = session.progress, session.offered
        except KeyError as error:
            raise CalibrationFileError(where, f"no column {error.args[0]}; mend the file") from None
        except (ValueError, IndexError) as error:
            raise CalibrationFileError(where, f"{error}; mend the file") from None


def _rows(file: Path) -> tuple[Row, ...]:
    """Return all rows, withdrawn ones too, without their empty cells."""
    name, text = read_text(str(file))
    if any(row for row in csv.DictReader(io.StringIO(text)) if row.get("withdrawn") != "1"):
        read_rows(text, name, ("row",), {})
    reader = csv.DictReader(io.StringIO(text, newline=""))
    return tuple({k: v.strip() for k, v in row.items() if k and v and v.strip()} for row in reader)
