"""What ``levelhead record check`` prints."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

from calibration.records.check import RecordCheck
from calibration.records.ed25519 import Signed
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord

UNKEYED = "holds as far as can be told without a public key (--key): no signature of it was checked"


def as_text(found: RecordCheck, key_files: Mapping[str, str]) -> str:
    """Return the finding for people; ``key_files``: where the keys by their ids came from."""
    record = found.record
    lines = [
        f"record {record.record_id} of head {record.head_id}, issued {record.issued}",
        f"  content    unaltered; SHA-256 {record.sha256}",
        *_simulated(record),
        *_people(record),
        *_adjustment(found, key_files),
        *_signatures(found, key_files),
        *_files(found),
        *(f"  lacks      {reason}" for reason in found.missing),
        *(f"  FAULT      {fault}" for fault in found.faults),
        f"It {_verdict(found)}.",
    ]
    return "\n".join(lines)


def _simulated(record: AnyRecord) -> Iterator[str]:
    if isinstance(record, CalibrationRecord) and record.simulated:
        yield "  SIMULATED  its readings come from simulated heads; no real one is corrected by it"


def _people(record: AnyRecord) -> Iterator[str]:
    if isinstance(record, CalibrationRecord):
        by, authorised = record.performed_by or "nobody", record.authorised_by or "nobody yet"
        yield f"  people     performed by {by}, authorised by {authorised}"


def _adjustment(found: RecordCheck, key_files: Mapping[str, str]) -> Iterator[str]:
    record = found.record
    if not isinstance(record, CalibrationRecord) or not record.adjusted:
        return
    step = record.adjustment
    if step is None or found.adjustment is None:
        old = record.version < 3
        yield f"  adjusted   {'no step of its own (version 2)' if old else 'not signed yet'}"
        return
    whose = _whose(found.adjustment, key_files)
    yield f"  adjusted   {step.at} by {step.by}, from old to new coefficients"
    yield f"             SHA-256 {step.sha256}"
    yield f"             signature {state(found.adjustment)}: key {whose}"


def _verdict(found: RecordCheck) -> str:
    if not found.holds:
        return "does NOT hold: do not measure with it"
    if found.record.version == 1:
        return "holds (version 1 has no signature)"
    if not found.signatures:
        return "holds, as a draft that nobody signed"
    return "holds" if found.keyed else UNKEYED


def _signatures(found: RecordCheck, key_files: Mapping[str, str]) -> Iterator[str]:
    if not found.signatures:
        yield "  signature  none"
    for each in found.signatures:
        yield f"  signature  {state(each)}: key {_whose(each, key_files)}"


def _whose(signature: Signed, key_files: Mapping[str, str]) -> str:
    file = key_files.get(signature.key_id)
    return signature.key_id if file is None else f"{signature.key_id} ({file})"


def state(signature: Signed) -> str:
    """Return what is known of a signature."""
    return {True: "holds", False: "FAILS", None: "not checked, its key was not given"}[
        signature.holds
    ]


def _files(found: RecordCheck) -> Iterator[str]:
    record = found.record
    for file in found.raw:
        said = f"is {file.what}, as read" if file.holds else "is NOT one that it was made from"
        yield f"  raw file   {file.where} {said}"
    for what in found.raw_not_given:
        yield f"  raw file   {what}: not checked, it was not given"
    if isinstance(record, CalibrationRecord) and record.previous is not None:
        yield f"  previous   follows {record.previous.record_id}"


def as_json(found: RecordCheck) -> str:
    """Return the finding as one JSON object."""
    record = found.record
    previous = record.previous if isinstance(record, CalibrationRecord) else None
    return json.dumps(
        {
            "record_id": record.record_id,
            "head_id": record.head_id,
            "version": record.version,
            "sha256": record.sha256,
            "holds": found.holds,
            "signed": bool(found.signatures),
            "simulated": isinstance(record, CalibrationRecord) and record.simulated,
            "signatures": [{"key_id": s.key_id, "holds": s.holds} for s in found.signatures],
            "adjustment": _step_as_json(found),
            "raw": [{"file": f.where, "what": f.what, "holds": f.holds} for f in found.raw],
            "raw_not_given": list(found.raw_not_given),
            "previous": None if previous is None else previous.record_id,
            "missing": list(found.missing),
            "faults": list(found.faults),
        }
    )


def _step_as_json(found: RecordCheck) -> dict[str, Any] | None:
    step = found.record.adjustment if isinstance(found.record, CalibrationRecord) else None
    if step is None or found.adjustment is None:
        return None
    told = {"at": step.at, "by": step.by, "sha256": step.sha256}
    return told | {"key_id": step.signature.key_id, "holds": found.adjustment.holds}
