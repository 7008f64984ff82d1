"""Whether a record holds: its signatures, its raw files, its place in the head's chain."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from calibration.records.adjustment import verify_adjustment
from calibration.records.chain import check_chain
from calibration.records.complete import missing_for_certificate
from calibration.records.ed25519 import Signed
from calibration.records.papers import RawFile
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import distrust, verify_signatures
from calibration.records.text import AnyRecord


@dataclass(frozen=True, slots=True)
class RawCheck:
    """One file of readings held against the record. ``what``: the record's name for it."""

    where: str
    what: str | None
    sha256: str
    holds: bool


@dataclass(frozen=True, slots=True)
class RecordCheck:
    """What was found. ``keyed``: keys were given, so that signatures could be judged."""

    record: AnyRecord
    keyed: bool
    signatures: tuple[Signed, ...]
    adjustment: Signed | None
    """Of the adjustment as a step of its own; None where there was none."""
    raw: tuple[RawCheck, ...]
    raw_not_given: tuple[str, ...]
    missing: tuple[str, ...]
    """What it lacks to be a certificate."""
    faults: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether nothing that was looked at speaks against the record."""
        return not self.faults


def check_record(
    record: AnyRecord,
    keys: Iterable[Ed25519PublicKey] = (),
    raw: Mapping[str, str] | None = None,
    before: Sequence[AnyRecord] = (),
) -> RecordCheck:
    """Check a record that ``load_record`` took.

    Args:
        keys: public keys of which one must have signed; without any, no signature is judged.
        raw: SHA-256 (hex) of files of readings, by what to call them.
        before: records of the same head that came before it.
    """
    keys = tuple(keys)
    signed = isinstance(record, CalibrationRecord) and bool(record.signatures)
    signatures = verify_signatures(record, keys) if isinstance(record, CalibrationRecord) else ()
    step = verify_adjustment(record, keys) if isinstance(record, CalibrationRecord) else None
    lacks = missing_for_certificate(record) if isinstance(record, CalibrationRecord) else ()
    files = tuple(_raw(record, where, sha256) for where, sha256 in (raw or {}).items())
    faults = []
    if keys and (reason := distrust(record, keys)) is not None:
        faults.append(reason)
    faults += [f"{file.where} is no file that it was made from" for file in files if not file.holds]
    if before:
        faults += check_chain([*before, record]).faults
    if signed:
        faults += [f"signed, although incomplete: {reason}" for reason in lacks]
    given = {file.sha256 for file in files}
    open_ = tuple(file.what for file in _raw_of(record) if file.sha256 not in given)
    return RecordCheck(record, bool(keys), signatures, step, files, open_, lacks, tuple(faults))


def _raw(record: AnyRecord, where: str, sha256: str) -> RawCheck:
    what = next((file.what for file in _raw_of(record) if file.sha256 == sha256), None)
    return RawCheck(where, what, sha256, what is not None)


def _raw_of(record: AnyRecord) -> tuple[RawFile, ...]:
    return record.raw if isinstance(record, CalibrationRecord) else ()
