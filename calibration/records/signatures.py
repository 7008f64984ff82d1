"""Signing a record, and telling who signed it.

What is signed are the RFC 8785 bytes of the record without its signatures, by Ed25519
(RFC 8032). That is an integrity seal: it shows that nothing was changed since somebody who had
the key signed. It is no qualified electronic signature.
"""

from collections.abc import Iterable

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from calibration.errors import RecordIncomplete
from calibration.records.adjustment import verify_adjustment
from calibration.records.canonical import canonical
from calibration.records.complete import missing_for_certificate
from calibration.records.ed25519 import Signed, held_against, signature_of
from calibration.records.keys import keyring
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord, seal

UNSIGNED = ("signatures",)


def signed_bytes(record: CalibrationRecord) -> bytes:
    """Return what a signature of the record covers."""
    return canonical(record.model_dump(mode="json"), UNSIGNED)


def sign(record: CalibrationRecord, key: Ed25519PrivateKey) -> CalibrationRecord:
    """Return the record sealed and signed. Signatures of others on the same content stay.

    Raises:
        RecordIncomplete: it lacks what a certificate must say.
    """
    missing = missing_for_certificate(record)
    step = verify_adjustment(record, [key.public_key()])
    if step is not None and step.holds is False:
        missing = (*missing, f"an adjustment that {step.key_id} signed, as it says")
    if missing:
        raise RecordIncomplete(record.record_id, missing)
    sealed = seal(record)
    others = record.signatures if sealed.sha256 == record.sha256 else ()
    mine = signature_of(signed_bytes(sealed), key)
    signatures = (*(each for each in others if each.key_id != mine.key_id), mine)
    return CalibrationRecord.model_validate(dict(sealed) | {"signatures": signatures})


def verify_signatures(
    record: CalibrationRecord, keys: Iterable[Ed25519PublicKey]
) -> tuple[Signed, ...]:
    """Return for each signature whether it holds under the key that it names."""
    known = keyring(keys)
    body = signed_bytes(record)
    return tuple(held_against(each, body, known) for each in record.signatures)


def distrust(record: AnyRecord, keys: Iterable[Ed25519PublicKey]) -> str | None:
    """Say why a record is not to be trusted by somebody who trusts these keys; None if it is.

    One signature by one of the keys is enough; one of theirs that does not hold is too much.
    """
    if record.version == 1:
        return "is of version 1, which has no signature; calibrate the head anew"
    found, step = verify_signatures(record, keys), verify_adjustment(record, keys)
    if not found:
        return "is not signed"
    for each in found:
        if each.holds is False:
            return f"altered, or not signed by {each.key_id} as it says: the signature fails"
    if step is not None and step.holds is False:
        return f"its adjustment was altered, or not signed by {step.key_id} as it says"
    if not any(each.holds for each in found):
        signers = ", ".join(each.key_id for each in found)
        return f"is signed by {signers}, which is none of the keys that are trusted"
    return None
