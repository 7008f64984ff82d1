"""Records as text: sealed, written, read back. Every version that was ever released is read."""

import json
import re
import reprlib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import ValidationError

from calibration.errors import CalibrationFileError
from calibration.faults import fault_of
from calibration.records.canonical import canonical, digest, parse, unaltered
from calibration.records.record import FORMAT, CalibrationRecord
from calibration.records.version1 import CalibrationRecord1

AnyRecord = CalibrationRecord | CalibrationRecord1
R = TypeVar("R", CalibrationRecord, CalibrationRecord1)

VERSIONS: Mapping[int, type[AnyRecord]] = MappingProxyType(
    {1: CalibrationRecord1, 2: CalibrationRecord, 3: CalibrationRecord}
)
HEAD_IN_TEXT = re.compile(r'"head_id"\s*:\s*"([0-9a-f]{16})"')
UNHASHED = ("sha256", "signatures")


def seal(record: R) -> R:
    """Return the record with its hash filled in."""
    return record.model_copy(update={"sha256": hash_of(record)})


def hash_of(record: AnyRecord) -> str:
    """Return the SHA-256 that the record has when sealed."""
    return digest(record.model_dump(mode="json"), UNHASHED)


def dump_record(record: AnyRecord) -> str:
    """Return a sealed record as JSON text: indented, keys in order, ending in a newline."""
    if not record.sha256:
        raise ValueError(f"record {record.record_id} is not sealed")
    return json.dumps(record.model_dump(mode="json"), indent=2, sort_keys=True) + "\n"


def load_record(text: str, where: str = "calibration record") -> AnyRecord:
    """Read a record from JSON text; ``where`` names it in messages (a path, a row).

    Its signatures are not looked at: see ``calibration.records.signatures``.

    Raises:
        CalibrationFileError: it cannot be read, is of an unknown format or version, or has
            values that no record may have; as ``RecordAltered``, its hash differs.
    """
    raw = parse(text, where)
    model = _model_of(raw, where)
    body = unaltered(raw, where, UNHASHED)
    try:
        record = model.model_validate_json(body, strict=True)
    except ValidationError as error:
        raise CalibrationFileError(where, str(fault_of(error, raw, model))) from error
    if record.version > 1 and canonical(record.model_dump(mode="json")) != body:
        reason = "a field is missing or written another way than records are"
        raise CalibrationFileError(where, reason)
    return record


@dataclass(frozen=True, slots=True)
class Claim:
    """What a text that could not be taken as a record says that it is.

    ``record_id`` is empty where the text is too damaged to tell.
    """

    head_id: str
    record_id: str


def claim_of(text: str) -> Claim | None:
    """Return whose record a text says it is, whether or not that is true; None if it does not."""
    try:
        raw = parse(text, "")
    except CalibrationFileError:
        found = HEAD_IN_TEXT.search(text)
        return None if found is None else Claim(found[1], "")
    head = raw.get("head")
    head_id = head.get("head_id") if isinstance(head, dict) else raw.get("head_id")
    record_id = raw.get("record_id")
    if isinstance(head_id, str) and isinstance(record_id, str):
        return Claim(head_id, record_id)
    return None


def _model_of(raw: dict[str, Any], where: str) -> type[AnyRecord]:
    if raw.get("format") != FORMAT:
        raise CalibrationFileError(where, f"not a {FORMAT} record")
    version = raw.get("version")
    if type(version) is int and version in VERSIONS:
        return VERSIONS[version]
    known = ", ".join(map(str, VERSIONS))
    reason = f"version {reprlib.repr(version)} is unknown; this program reads {known}"
    raise CalibrationFileError(where, reason)
