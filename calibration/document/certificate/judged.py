"""What a certificate says of the signatures of its record, as far as keys at hand can tell."""

from collections.abc import Iterable
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from calibration.records.adjustment import verify_adjustment
from calibration.records.ed25519 import Signed
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import verify_signatures

STATES = {
    True: "checked with its public key: holds",
    False: "checked with its public key: FAILS",
    None: "NOT CHECKED: made without its public key",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """The signatures of the whole and that of the adjustment, where there is one."""

    whole: tuple[Signed, ...]
    adjustment: Signed | None

    @property
    def checked(self) -> bool:
        """Whether at least one key has said that the record is what it signed."""
        fails = any(each.holds is False for each in self.whole)
        return not fails and any(each.holds for each in self.whole)


def judged(record: CalibrationRecord, keys: Iterable[Ed25519PublicKey]) -> Judged:
    """Hold a record's signatures against public keys; without any, none is judged."""
    keys = tuple(keys)
    return Judged(verify_signatures(record, keys), verify_adjustment(record, keys))


def by_key(one: Signed) -> str:
    """Return by which key something is signed, and whether anybody looked."""
    return f"key {one.key_id} (Ed25519), {STATES[one.holds]}"
