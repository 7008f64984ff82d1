"""A draft that grows while the work goes on: more files, references and days, other values."""

from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Any

from pydantic import ValidationError

from calibration.errors import CalibrationFileError
from calibration.faults import fault_of
from calibration.records.adjustment import holds
from calibration.records.papers import RawFile, ReferenceUse
from calibration.records.record import NEWEST, CalibrationRecord


def grown(
    draft: CalibrationRecord,
    *,
    raw: Iterable[RawFile] = (),
    uses: Iterable[ReferenceUse] = (),
    performed: Iterable[date] = (),
    **changes: Any,
) -> CalibrationRecord:
    """Return the draft with raw files, references and days of work added, and other values.

    Of what has the same name the newest counts. The result is no longer sealed or signed; an
    adjustment that was signed for other coefficients, or another run as found, is dropped.

    Raises:
        CalibrationFileError: two of the files have one name, or the record that comes of it would
            contradict itself.
    """
    days, files = tuple(performed), tuple(raw)
    for name, count in Counter(r.what for r in files).items():
        if count > 1:
            reason = f"{count} files of readings are called {name}; give each a name of its own"
            raise CalibrationFileError(draft.record_id, reason)
    merged = {
        "raw": tuple({r.what: r for r in (*draft.raw, *files)}.values()),
        "references": tuple({u.id: u for u in (*draft.references, *uses)}.values()),
        "performed_from": min((draft.performed_from, *days)),
        "performed_to": max((draft.performed_to, *days)),
        "issued": max((draft.issued, *days)),
        "version": NEWEST,
    }
    try:
        result = draft.revised(**merged | changes)
        return result if holds(result) else result.revised(adjustment=None)
    except ValidationError as error:
        raise CalibrationFileError(draft.record_id, str(fault_of(error))) from error
