"""One Ed25519 signature (RFC 8032) over some bytes: made, and held against keys."""

import base64
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.records.keys import Keyring, key_id
from calibration.records.papers import Signature


@dataclass(frozen=True, slots=True)
class Signed:
    """One signature: by which key, and whether it holds (None: that key was not given)."""

    key_id: str
    holds: bool | None


def signature_of(body: bytes, key: Ed25519PrivateKey) -> Signature:
    """Return the signature of these bytes by this key."""
    value = base64.b64encode(key.sign(body)).decode()
    return Signature(key_id=key_id(key.public_key()), value=value)


def held_against(signature: Signature, body: bytes, known: Keyring) -> Signed:
    """Return whether a signature is one of these bytes under the key that it names."""
    key = known.get(signature.key_id)
    if key is None:
        return Signed(signature.key_id, None)
    try:
        key.verify(base64.b64decode(signature.value, validate=True), body)
    except InvalidSignature:
        return Signed(signature.key_id, False)
    return Signed(signature.key_id, True)
