"""The zero of toe on the reference bar, as a part of ``levelhead verify``."""

import hashlib
from dataclasses import dataclass
from typing import Any

from calibration.files.check_rows import CheckRows, parse_check_rows
from calibration.records.papers import RawFile
from calibration.records.parts import Coefficients
from calibration.records.record import CalibrationRecord
from calibration.toml import parse_toml
from calibration.verification.bar_zero import CHANNEL, on_bar, with_zero, zero_error
from calibration.verification.plan import Plan
from calibration.verification.run import Verification, correction_of, step_deg_of
from calibration.verification.setup import References
from ingest.commands.tables import as_utf8, read_bytes
from ingest.core.errors import InputError, MeasurementRefused

WHICH = "does not say which of the bar's heads this record is of; name it with --head A or B"


@dataclass(frozen=True, slots=True)
class BarReadings:
    """The readings of one run on the bar, and which of its heads the record is of."""

    rows: CheckRows
    raw: RawFile
    head: str


def read_bar(
    path: str, head: str | None, sheet: str | None, when: str, draft: CalibrationRecord
) -> BarReadings:
    """Read the file of the bar. ``sheet``: its text, sound TOML, which has the heads' letters.

    Raises:
        CalibrationFileError: naming a row and what is wrong with it.
        InputError: nobody says which head is which.
    """
    name, content = read_bytes(path)
    digest = hashlib.sha256(content).hexdigest()
    raw = RawFile(what=f"bar as {when}", sha256=digest, bytes=len(content))
    rows = parse_check_rows(as_utf8(name, content), name)
    letter = head or _lettered(sheet, draft.head_id)
    if letter is None:
        raise InputError("--bar", None, f"the sheet {WHICH}")
    return BarReadings(rows, raw, letter)


def with_bar(
    result: Verification,
    bar: BarReadings,
    draft: CalibrationRecord,
    coefficients: Coefficients | None,
    references: References,
    plan: Plan,
) -> Verification:
    """Return the verification with the zero of toe in it.

    Raises:
        BadBenchData: an attitude is missing, or the bar's form is not known.
        MeasurementRefused: the two attitudes contradict each other.
        ReferenceRefused: no result may stand on the bar.
    """
    reference = references.bar()
    found = on_bar(bar.rows.readings, bar.head, correction_of(coefficients, "as verified"))
    if abs(found.apart_deg) > found.limit_deg:
        text = (
            f"{bar.rows.where}: the azimuth of head {bar.head} differs by "
            f"{abs(found.apart_deg):.4f} deg between the attitudes, limit {found.limit_deg:.4f} "
            "deg; a head or the bar moved: clean the seats, tighten, take all attitudes again"
        )
        raise MeasurementRefused(
            "bar-moved", text, figure=abs(found.apart_deg), limit=found.limit_deg
        )
    step_deg = step_deg_of(CHANNEL, coefficients)
    budget = zero_error(found, draft, reference, step_deg)
    return with_zero(result, budget, reference, plan.head_class, plan.rule, step_deg)


def _lettered(sheet: str | None, head_id: str) -> str | None:
    heads: Any = [] if sheet is None else parse_toml(sheet).get("head", [])
    tables = [each for each in heads if isinstance(each, dict)] if isinstance(heads, list) else []
    letters = [each.get("letter", "A") for each in tables if each.get("head_id") == head_id]
    return next((letter for letter in letters if letter in ("A", "B")), None)
