"""What every calibration from files shares: files, sheet, register, draft, and how it is told."""

import argparse
import hashlib
import importlib.metadata
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from calibration.drafting.draft import begin
from calibration.files.references import Kind, Reference, Register, parse_references, usable
from calibration.files.series import Series, parse_series
from calibration.files.sheet import Sheet, SheetHead, parse_sheet
from calibration.fits.result import Fit
from calibration.records.papers import RawFile, Software
from calibration.records.record import CalibrationRecord
from ingest.commands.daycheck import see_no_day_ahead, see_no_row_ahead
from ingest.commands.draft_file import read_record, see_draft_place, write_draft_file
from ingest.commands.tables import STANDARD_INPUT, as_utf8, read_bytes, read_text
from ingest.core.errors import InputError

TWO_SIGMA = 0.9545


@dataclass(frozen=True, slots=True)
class Answer:
    """What a calibration says, and its exit code: 3 where what was asked for is still open."""

    text: str
    as_json: dict[str, Any]
    code: int = 0


@dataclass(frozen=True, slots=True)
class Work:
    """The sheet and the register, where they were given."""

    sheet: Sheet | None
    sheet_text: str
    register: Register | None

    @classmethod
    def of(cls, args: argparse.Namespace) -> "Work":
        """Read both. Raises errors that name file, key and reason."""
        sheet, sheet_text = None, ""
        if args.sheet:
            name, sheet_text = read_text(args.sheet)
            sheet = parse_sheet(sheet_text, name)
            see_no_day_ahead(name, "the work", sheet.issued)
        register = None
        if args.references:
            name, text = read_text(args.references)
            register = parse_references(text, name)
        return cls(sheet, sheet_text, register)

    def reference(self, *kinds: Kind) -> Reference | None:
        """Return the sheet's reference of one of these kinds, checked; None where it has none.

        Without a sheet the day of the work is today. Raises ``ReferenceRefused`` where no result
        may stand on it.
        """
        if self.register is None:
            return None
        wanted = self.sheet.references if self.sheet and self.sheet.references else None
        for reference in self.register.references:
            if reference.kind in kinds and (wanted is None or reference.id in wanted):
                today = datetime.now(UTC).date()
                usable(reference, today if self.sheet is None else self.sheet.issued)
                return reference
        return None

    @property
    def software(self) -> Software:
        """This program, and the hash of the sheet it was run with."""
        digest = hashlib.sha256(self.sheet_text.encode()).hexdigest() if self.sheet_text else ""
        version = importlib.metadata.version("levelhead")
        return Software(name="levelhead", version=version, settings_sha256=digest)

    def draft(
        self, letter: str, onto: str | None, previous: str | None = None
    ) -> CalibrationRecord | None:
        """Return the draft to go on with: a file, or a new one from the sheet, or none."""
        if onto is not None and previous is not None:
            reason = "belongs to a new draft; the one of --onto names its previous record already"
            raise InputError("--previous", None, reason)
        if onto is not None:
            record = read_record(onto)
            if not isinstance(record, CalibrationRecord) or record.signatures:
                reason = "is signed, not a draft; begin a new one with --sheet and --previous"
                raise InputError(onto, None, reason)
            return record
        if self.sheet is None:
            return None
        return begin(
            self.sheet,
            self._head(letter),
            self.software,
            None if previous is None else read_record(previous),
        )

    def _head(self, letter: str) -> SheetHead:
        assert self.sheet is not None
        try:
            return self.sheet.lettered(letter)
        except KeyError:
            raise InputError("--sheet", None, f"it has no head {letter}; add it") from None


def add_draft_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare which draft a calibration of one head goes into."""
    parser.add_argument("--head", choices=("A", "B"), default="A", help="of the sheet (default A)")
    parser.add_argument("--onto", metavar="DRAFT.json", help="the draft to go on with")
    parser.add_argument("--previous", metavar="R.json", help="the head's last signed record")
    parser.add_argument("-o", "--output", metavar="DRAFT.json", help="where to write the draft")


def read_series(
    path: str, draft: CalibrationRecord | None, kinds: Iterable[str]
) -> tuple[Series, RawFile]:
    """Read one file and its hash."""
    name, content = read_bytes(path)
    ids = () if draft is None else (draft.head_id,)
    series = parse_series(as_utf8(name, content), name, ids, kinds=kinds)
    see_no_row_ahead(series.rows)
    digest = hashlib.sha256(content).hexdigest()
    return series, RawFile(what=Path(name).name, sha256=digest, bytes=len(content))


def draft_place(path: str | None, onto: str | None, record: CalibrationRecord) -> str:
    """Return where a draft is to lie. Raises ``InputError`` where something else lies there."""
    place = path or onto or f"{record.record_id}.json"
    if place == STANDARD_INPUT:
        raise InputError("--output", None, "the draft came from standard input; name a file")
    see_draft_place(Path(place), record.head_id)
    return place


def see_no_doubles(raw: Iterable[RawFile]) -> None:
    """See to it that no readings count twice, under two names. Raises ``InputError``."""
    names: dict[str, str] = {}
    for file in raw:
        before = names.setdefault(file.sha256, file.what)
        if before != file.what:
            reason = f"holds the same readings as {before}, and they count once; give one of them"
            raise InputError(file.what, None, reason)


def write_draft(path: str | None, onto: str | None, record: CalibrationRecord) -> str:
    """Write a draft whole; say where. Raises ``InputError``."""
    place = draft_place(path, onto, record)
    see_no_doubles(record.raw)
    write_draft_file(Path(place), record)
    return f"draft {record.record_id} of head {record.head_id}: {place}"


def coefficients(fit: Fit, degrees: Iterable[str] = ()) -> list[dict[str, Any]]:
    """Return each coefficient with its uncertainty; in degrees where named so."""
    told, angles = [], frozenset(degrees)
    for name in fit.names:
        unit = math.degrees(1.0) if name in angles else 1.0
        loose = name in fit.undetermined
        u = fit.u(name) if not loose else math.nan
        expanded = fit.expanded(name, TWO_SIGMA) if math.isfinite(u) else math.nan
        told.append(
            {
                "name": name,
                "value": None if loose else fit.value(name) * unit,
                "u": u * unit if math.isfinite(u) else None,
                "U": expanded * unit if math.isfinite(u) else None,
                "unit": "deg" if name in angles else "1",
            }
        )
    return told


def lines_of(told: list[dict[str, Any]]) -> list[str]:
    """Say coefficients to people: value, U (95.45 %, t factor), unit."""
    lines = []
    for each in told:
        if each["value"] is None:
            lines.append(f"  {each['name']:<20} open")
            continue
        sign = "°" if each["unit"] == "deg" else ""
        doubt = "with no degrees of freedom, so no uncertainty"
        if each["U"] is not None:
            doubt = f"± {each['U']:.2g}{sign}"
        lines.append(f"  {each['name']:<20} {each['value']:+.6f}{sign} {doubt}")
    return lines


def as_json(fit: Fit, told: list[dict[str, Any]]) -> dict[str, Any]:
    """Return what every fit says of itself."""
    return {
        "coefficients": told,
        "rank": fit.rank,
        "dof": fit.dof if math.isfinite(fit.dof) else None,
        "sigma": fit.sigma if math.isfinite(fit.sigma) else None,
        "undetermined": list(fit.undetermined),
        "distrusted": list(fit.distrusted()),
    }


def judged(fit: Fit) -> list[str]:
    """Say rank, scatter and which rows to distrust."""
    size = math.degrees(fit.sigma)
    scatter = f", one reading scatters by {size:.4f}°" if math.isfinite(size) else ""
    whole = fit.jacobian.shape[1]
    lines = [f"  rank {fit.rank} of {whole}, {fit.dof:.0f} degrees of freedom{scatter}"]
    if fit.distrusted():
        off = dict(zip(fit.labels, np.degrees(fit.residuals), strict=True))
        named = ", ".join(f"{label} ({off[label]:+.4f}°)" for label in fit.distrusted())
        lines.append(f"  take again, they do not fit the others: {named}")
        lines.append("  (a clean reading looks so once in 1000; they all count until withdrawn)")
    return lines
