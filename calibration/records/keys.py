"""Ed25519 keys (RFC 8032): read from PEM, written as PEM, known by a short id.

No key is ever part of a message: errors name the file and what it is, never what is in it.
"""

import hashlib
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from calibration.errors import CalibrationFileError

PUBLIC_MARK = b"-----BEGIN PUBLIC KEY-----"
PRIVATE_MARK = b"PRIVATE KEY-----"

Keyring = Mapping[str, Ed25519PublicKey]
"""Public keys by their ids."""


def key_id(key: Ed25519PublicKey) -> str:
    """Return the first 16 hex digits of the SHA-256 of the raw public key."""
    raw = key.public_bytes(Encoding.Raw, PublicFormat.Raw)
    return hashlib.sha256(raw).hexdigest()[:16]


def keyring(keys: Iterable[Ed25519PublicKey]) -> Keyring:
    """Return the keys by their ids."""
    return MappingProxyType({key_id(key): key for key in keys})


def private_pem(key: Ed25519PrivateKey) -> bytes:
    """Return a private key as PEM (PKCS #8, not encrypted): for a file that nobody else reads."""
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def public_pem(key: Ed25519PublicKey) -> bytes:
    """Return a public key as PEM (SubjectPublicKeyInfo)."""
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def read_public(pem: bytes, where: str) -> Ed25519PublicKey:
    """Return a public key from PEM. Raises ``CalibrationFileError`` for anything else."""
    if PRIVATE_MARK in pem:
        raise CalibrationFileError(where, "is a private key; give the public one (.pub)")
    try:
        key = load_pem_public_key(pem)
    except (ValueError, UnsupportedAlgorithm):
        raise CalibrationFileError(where, "is not a public key in PEM") from None
    if not isinstance(key, Ed25519PublicKey):
        raise CalibrationFileError(where, "is a public key of another kind than Ed25519")
    return key


def read_private(pem: bytes, where: str) -> Ed25519PrivateKey:
    """Return a private key from PEM. Raises ``CalibrationFileError`` for anything else."""
    if PUBLIC_MARK in pem:
        raise CalibrationFileError(where, "is a public key; signing takes the private one")
    try:
        key = load_pem_private_key(pem, password=None)
    except TypeError:
        reason = "is locked with a password; give one that is not, kept where only you read it"
        raise CalibrationFileError(where, reason) from None
    except (ValueError, UnsupportedAlgorithm):
        raise CalibrationFileError(where, "is not a private key in PEM") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise CalibrationFileError(where, "is a private key of another kind than Ed25519")
    return key
