"""A draft record: begun from a sheet, filled with fits and coefficients."""

import math
from collections.abc import Iterable
from typing import Any

from pydantic import ValidationError

from calibration.errors import BadBenchData, CalibrationFileError
from calibration.faults import fault_of
from calibration.files.sheet import Sheet, SheetHead
from calibration.fits.result import Fit
from calibration.records.chain import follows
from calibration.records.grown import grown
from calibration.records.papers import Head, Occasion, Software
from calibration.records.record import CalibrationRecord
from calibration.records.results import FitSummary
from calibration.records.text import AnyRecord


def begin(
    sheet: Sheet, head: SheetHead, software: Software, previous: AnyRecord | None = None
) -> CalibrationRecord:
    """Return an empty draft for one head; after ``previous``, with what was in force so far.

    Raises:
        BadBenchData: the previous record is of another head, or cannot be followed.
        CalibrationFileError: the sheet contradicts itself.
    """
    if previous is not None and previous.head_id != head.head_id:
        why = f"is of head {previous.head_id}, and the sheet's is {head.head_id}"
        raise BadBenchData(f"record {previous.record_id}", why, "give that head's own record")
    if isinstance(previous, CalibrationRecord) and previous.simulated != sheet.simulated:
        why = "is of simulated work" if previous.simulated else "is of a head on a real bench"
        remedy = "what is simulated and what is real do not follow each other; begin without it"
        raise BadBenchData(f"record {previous.record_id}", why, remedy)
    content: dict[str, Any] = {}
    if previous is not None:
        started = follows(previous, head.record_id, sheet.issued)
        content = {name: getattr(started, name) for name in type(started).model_fields}
    content |= {name: getattr(sheet, name) for name in Occasion.model_fields}
    own = head.model_dump(include=set(Head.model_fields))
    content |= {
        "record_id": head.record_id,
        "head": own,
        "performed_from": sheet.issued,
        "performed_to": sheet.issued,
        "software": software,
    }
    if previous is None:
        content["coefficients"] = {
            "stub_m": head.stub_m,
            "u_stub_m": head.u_stub_m,
            "ports": head.ports,
        }
    return _validated(content, head.record_id)


def filled(
    draft: CalibrationRecord,
    *,
    coefficients: dict[str, Any],
    fits: Iterable[FitSummary],
    **more: Any,
) -> CalibrationRecord:
    """Return the draft with new coefficients and fits; of a kind of fit the newest counts.

    A draft that changes what was in force before is an adjustment. ``more``: as for ``grown``.
    """
    fits = tuple(fits)
    kinds = {(f.kind, f.channel) for f in fits}
    kept = (f for f in draft.fits if (f.kind, f.channel) not in kinds)
    new = draft.coefficients.model_copy(update=coefficients)
    return grown(draft, coefficients=new, fits=(*kept, *fits), **{"adjusted": True} | more)


def summary(fit: Fit, kind: str, channel: str, method: str) -> FitSummary:
    """Return a fit as a record states it: numbers or null, covariances kept."""
    return FitSummary(
        kind=kind,
        channel=channel,
        method=method,
        names=fit.names,
        values=tuple(map(_finite, fit.values.tolist())),
        u=tuple(_finite(math.sqrt(v) if v >= 0 else math.nan) for v in fit.covariance.diagonal()),
        covariance=tuple(tuple(map(_finite, row)) for row in fit.covariance.tolist()),
        dof=fit.dof if math.isfinite(fit.dof) and fit.dof > 0 else None,
        sigma=_finite(fit.sigma),
        rank=fit.rank,
        undetermined=fit.undetermined,
        distrusted=fit.distrusted(),
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _validated(content: dict[str, Any], where: str) -> CalibrationRecord:
    try:
        return CalibrationRecord.model_validate(content)
    except ValidationError as error:
        raise CalibrationFileError(
            where, str(fault_of(error, content, CalibrationRecord))
        ) from error
