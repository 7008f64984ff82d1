"""Canonical form and signature against the RFCs' own vectors, and against OpenSSL's command.

RFC 8785 (JSON Canonicalization Scheme), RFC 8032 (Ed25519), RFC 8410 (its keys in PEM): the
values were typed from memory of the RFCs and agree with copies in other projects' tests.
"""

import base64
import json
import struct
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.records.canonical import canonical, parse
from calibration.records.keys import (
    key_id,
    private_pem,
    public_pem,
    read_private,
    read_public,
)
from calibration.records.signatures import sign, signed_bytes, verify_signatures
from calibration.records.text import load_record, seal

KEPT = Path(__file__).parents[1] / "calibration" / "records" / "version-2.json"

# RFC 8785, 3.2.2 and 3.2.4.
SAMPLE = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
SAMPLE_CANONICAL = bytes.fromhex(
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b33333333333333"
    "33332e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac24"
    "5c75303030665c6e4127425c225c5c5c5c5c222f227d"
)

# RFC 8785, 3.2.3.
UNSORTED = r"""{
  "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}"""
SORTED = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

# RFC 8785, appendix B: the bits of a double and how it is written.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}

# RFC 8032, 7.1, tests 1 and 2: secret key, public key, message, signature.
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
        "387b2eaeb4302aeeb00d291612bb0c00",
    ),
]
# RFC 8410, 7 and 10.3: what stands before the 32 bytes of a private and of a public key.
PRIVATE_DER = bytes.fromhex("302e020100300506032b657004220420")
PUBLIC_DER = bytes.fromhex("302a300506032b6570032100")


def pem(label, der):
    body = base64.encodebytes(der).decode()
    return f"-----BEGIN {label}-----\n{body}-----END {label}-----\n".encode()


def test_the_sample_of_rfc_8785():
    assert canonical(parse(SAMPLE, "sample")) == SAMPLE_CANONICAL


def test_keys_are_sorted_as_utf_16():
    assert list(json.loads(canonical(parse(UNSORTED, "sample"))).values()) == SORTED


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_numbers_are_written_as_ecmascript_writes_them(bits, text):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical({"n": number}) == b'{"n":%s}' % text.encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_what_is_no_number_has_no_canonical_form(bits):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(ValueError, match="not representable"):
        canonical({"n": number})


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_keys_and_signatures_of_rfc_8032(secret, public, message, signature):
    key = read_private(pem("PRIVATE KEY", PRIVATE_DER + bytes.fromhex(secret)), "rfc")
    other = read_public(pem("PUBLIC KEY", PUBLIC_DER + bytes.fromhex(public)), "rfc")
    assert key.sign(bytes.fromhex(message)).hex() == signature
    other.verify(bytes.fromhex(signature), bytes.fromhex(message))
    assert key_id(key.public_key()) == key_id(other)
    assert private_pem(key) == pem("PRIVATE KEY", PRIVATE_DER + bytes.fromhex(secret))
    assert public_pem(other) == pem("PUBLIC KEY", PUBLIC_DER + bytes.fromhex(public))


@pytest.fixture
def openssl(real_part, tmp_path):
    """Return a function that runs the command on files of ours, and says whether it agreed."""
    program = real_part("openssl")

    def run(*words, **files):
        for name, content in files.items():
            (tmp_path / name).write_bytes(content)
        done = subprocess.run(
            [program, *words], cwd=tmp_path, capture_output=True, timeout=20, check=False
        )
        return done.returncode == 0

    run.folder = tmp_path
    return run


VERIFY = ("pkeyutl", "-verify", "-pubin", "-inkey", "pub", "-rawin", "-in", "body", "-sigfile")


def test_openssl_verifies_what_we_sign(openssl):
    key = Ed25519PrivateKey.generate()
    signed = sign(load_record(KEPT.read_text(encoding="utf-8")), key)
    value = next(s for s in signed.signatures if s.key_id == key_id(key.public_key())).value
    files = {"pub": public_pem(key.public_key()), "sig": base64.b64decode(value)}
    body = signed_bytes(signed)
    assert openssl(*VERIFY, "sig", body=body, **files)
    assert not openssl(*VERIFY, "sig", body=body.replace(b"Harrowmere", b"Harrowmeer"), **files)


def test_openssl_verifies_the_kept_record_from_the_file_alone(openssl):
    raw = json.loads(KEPT.read_text(encoding="utf-8"))
    (signature,) = raw.pop("signatures")
    body = canonical(raw)
    files = {"pub": KEPT.with_suffix(".pub").read_bytes(), "body": body}
    assert openssl(*VERIFY, "sig", sig=base64.b64decode(signature["value"]), **files)


def test_we_verify_what_openssl_signs(openssl):
    assert openssl("genpkey", "-algorithm", "ed25519", "-out", "key")
    assert openssl("pkey", "-in", "key", "-pubout", "-out", "pub")
    record = seal(load_record(KEPT.read_text(encoding="utf-8")).revised())
    words = ("pkeyutl", "-sign", "-inkey", "key", "-rawin", "-in", "body", "-out", "sig")
    assert openssl(*words, body=signed_bytes(record))
    key = read_public((openssl.folder / "pub").read_bytes(), "pub")
    value = base64.b64encode((openssl.folder / "sig").read_bytes()).decode()
    kept = load_record(KEPT.read_text(encoding="utf-8")).signatures[0]
    theirs = kept.model_copy(update={"key_id": key_id(key), "value": value})
    signed = record.model_copy(update={"signatures": (theirs,)})
    assert [s.holds for s in verify_signatures(signed, [key])] == [True]
