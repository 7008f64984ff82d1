"""Records as text: sealed, written, read back. Every version that was ever released is read."""

import json
import reprlib
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import ValidationError

from calibration.errors import CalibrationFileError, RecordAltered
from calibration.records.canonical import canonical, digest, parse
from calibration.records.record import FORMAT, CalibrationRecord
from calibration.records.version1 import CalibrationRecord1

AnyRecord = CalibrationRecord | CalibrationRecord1
R = TypeVar("R", CalibrationRecord, CalibrationRecord1)

VERSIONS: Mapping[int, type[AnyRecord]] = MappingProxyType(
    {1: CalibrationRecord1, 2: CalibrationRecord}
)
LONGEST_PLACE = 80
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
    try:
        body, found = canonical(raw), digest(raw, UNHASHED)
    except ValueError as error:
        raise CalibrationFileError(where, f"no canonical form: {error}") from error
    if raw.get("sha256") != found:
        raise RecordAltered(where, "altered after it was sealed: its hash differs")
    try:
        record = model.model_validate_json(body, strict=True)
    except ValidationError as error:
        raise CalibrationFileError(where, first_fault(error)) from error
    if record.version > 1 and canonical(record.model_dump(mode="json")) != body:
        reason = "a field is missing or written another way than records are"
        raise CalibrationFileError(where, reason)
    return record


def first_fault(error: ValidationError) -> str:
    """Return the first thing that a model did not take, with its place, in one line."""
    first = error.errors(include_url=False)[0]
    place = ".".join(str(step) for step in first["loc"])[:LONGEST_PLACE]
    text = f"{place}: {first['msg']}" if place else first["msg"]
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _model_of(raw: dict[str, Any], where: str) -> type[AnyRecord]:
    if raw.get("format") != FORMAT:
        raise CalibrationFileError(where, f"not a {FORMAT} record")
    version = raw.get("version")
    if type(version) is int and version in VERSIONS:
        return VERSIONS[version]
    known = " and ".join(map(str, VERSIONS))
    reason = f"version {reprlib.repr(version)} is unknown; this program reads {known}"
    raise CalibrationFileError(where, reason)
