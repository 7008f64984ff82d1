"""Records as text: sealed, written, read back. Every version that was ever released is read."""

import json
from typing import Any

from pydantic import ValidationError

from calibration.errors import CalibrationFileError
from calibration.records.canonical import canonical, digest, parse
from calibration.records.version1 import FORMAT, CalibrationRecord1

AnyRecord = CalibrationRecord1
UNHASHED = ("sha256",)


def seal(record: CalibrationRecord1) -> CalibrationRecord1:
    """Return the record with its hash filled in."""
    found = digest(record.model_dump(mode="json"), UNHASHED)
    return record.model_copy(update={"sha256": found})


def dump_record(record: CalibrationRecord1) -> str:
    """Return a sealed record as JSON text: indented, keys in order, ending in a newline."""
    if not record.sha256:
        raise ValueError(f"record {record.record_id} is not sealed")
    return json.dumps(record.model_dump(mode="json"), indent=2, sort_keys=True) + "\n"


def load_record(text: str, where: str = "calibration record") -> CalibrationRecord1:
    """Read a record from JSON text; ``where`` names it in messages (a path, a row).

    Raises:
        CalibrationFileError: it cannot be read, is of an unknown format or version, has been
            altered (its hash differs), or has values that no record may have.
    """
    raw = parse(text, where)
    _check_version(raw, where)
    try:
        body, found = canonical(raw), digest(raw, UNHASHED)
    except ValueError as error:
        raise CalibrationFileError(where, f"no canonical form: {error}") from error
    if raw.get("sha256") != found:
        raise CalibrationFileError(where, "altered after it was sealed: its hash differs")
    try:
        return CalibrationRecord1.model_validate_json(body, strict=True)
    except ValidationError as error:
        raise CalibrationFileError(where, first_fault(error)) from error


def first_fault(error: ValidationError) -> str:
    """Return the first thing that a model did not take, with its place, in one line."""
    first = error.errors(include_url=False)[0]
    place = ".".join(str(step) for step in first["loc"])
    return f"{place}: {first['msg']}" if place else first["msg"]


def _check_version(raw: dict[str, Any], where: str) -> None:
    if raw.get("format") != FORMAT:
        raise CalibrationFileError(where, f"not a {FORMAT} record")
    if raw.get("version") != 1 or isinstance(raw["version"], bool):
        reason = f"version {raw.get('version')!r} is unknown; this program reads 1"
        raise CalibrationFileError(where, reason)
