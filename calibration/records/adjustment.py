"""An adjustment as a step of its own: old and new coefficients, signed before as left is measured.

It stands between as found, which its hash covers, and as left, which names that hash. So nobody
can say afterwards that a head was found, or was adjusted, in another way.
"""

from collections.abc import Iterable
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from calibration.records.canonical import canonical, digest
from calibration.records.ed25519 import Signed, held_against, signature_of
from calibration.records.keys import keyring
from calibration.records.papers import Adjustment
from calibration.records.record import CalibrationRecord

FORMAT = "levelhead-adjustment"
COVERED = ("record_id", "previous", "coefficients_before", "coefficients", "as_found")
"""Keys of the record that an adjustment is signed for, beside the head, the time and who."""


def content(record: CalibrationRecord, at: str, by: str) -> dict[str, Any]:
    """Return what the hash and the signature of an adjustment cover."""
    told = record.model_dump(mode="json")
    own = {"format": FORMAT, "head_id": record.head_id, "at": at, "by": by}
    return own | {name: told[name] for name in COVERED}


def adjustment_of(
    record: CalibrationRecord, key: Ed25519PrivateKey, at: str, by: str
) -> Adjustment:
    """Return the signed step that puts a draft's coefficients in force.

    Raises:
        ValueError: ``at`` is no moment, or ``by`` no name (pydantic's ``ValidationError``).
    """
    body = content(record, at, by)
    signature = signature_of(canonical(body), key)
    return Adjustment(at=at, by=by, sha256=digest(body, ()), signature=signature)


def holds(record: CalibrationRecord) -> bool:
    """Say whether a record still is what its adjustment was signed for; true where it has none."""
    step = record.adjustment
    return step is None or step.sha256 == digest(content(record, step.at, step.by), ())


def verify_adjustment(record: CalibrationRecord, keys: Iterable[Ed25519PublicKey]) -> Signed | None:
    """Return whether the adjustment's signature holds under the key that it names."""
    step = record.adjustment
    if step is None:
        return None
    body = canonical(content(record, step.at, step.by))
    return held_against(step.signature, body, keyring(keys))
