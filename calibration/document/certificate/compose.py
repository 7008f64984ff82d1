"""From a calibration record to its certificate."""

from collections.abc import Iterable

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from calibration.document.blocks import Document, EndMark, NewPage
from calibration.document.certificate.coefficients import coefficients
from calibration.document.certificate.face import face
from calibration.document.certificate.judged import judged
from calibration.document.certificate.proof import proof
from calibration.document.certificate.results import results
from calibration.document.certificate.uncertainty import budgets, stability
from calibration.document.certificate.wording import (
    DRAFT_MARK,
    SIMULATED_DRAFT_MARK,
    SIMULATED_MARK,
)
from calibration.records.record import TITLE, CalibrationRecord


def certificate(record: CalibrationRecord, keys: Iterable[Ed25519PublicKey] = ()) -> Document:
    """Return a record as a document; marked as a draft without a signature, and as simulated.

    ``keys`` are public ones. A signature that none of them can judge is said to be unchecked:
    whoever alters a record can seal it anew, under the same name of a key.
    """
    head, lab = record.head, record.lab
    named = ", ".join(
        part for part in (head.model, head.serial and f"serial {head.serial}") if part
    )
    signed = judged(record, keys)
    blocks = (
        *face(record, signed),
        NewPage(),
        *results(record, signed),
        *coefficients(record),
        *budgets(record),
        *stability(record),
        *proof(record, signed),
        EndMark(f"End of certificate {record.record_id}"),
    )
    address = ", ".join(part for part in (lab.address, lab.country) if part)
    return Document(
        title=record.title or TITLE,
        number=record.record_id,
        subtitle=f"Measuring head: {named or head.head_id}",
        issuer=tuple(part for part in (lab.name or "(laboratory not named)", address) if part),
        dated=record.issued,
        blocks=blocks,
        mark=_mark(record),
    )


def _mark(record: CalibrationRecord) -> str:
    """Return what every sheet bears across it."""
    if record.simulated:
        return SIMULATED_MARK if record.signatures else SIMULATED_DRAFT_MARK
    return "" if record.signatures else DRAFT_MARK
