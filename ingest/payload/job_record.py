"""The record of a job: every event of it, sealed and signed like a calibration record.

What the report says follows from the events alone, so whoever has the record can make the report
again, and check it offline. A seal shows that nothing was changed since somebody who had the key
signed; it is no qualified electronic signature.
"""

import json
from collections.abc import Iterable
from typing import Annotated, Any, Literal

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from calibration.errors import CalibrationFileError
from calibration.faults import fault_of
from calibration.records.canonical import canonical, digest, parse, unaltered
from calibration.records.ed25519 import Signed, held_against, signature_of
from calibration.records.keys import key_id, keyring
from calibration.records.papers import Signature
from ingest.job.course.events import Event
from ingest.job.course.job import Job
from ingest.job.course.making import replayed

FORMAT = "levelhead-job"
UNHASHED = ("sha256", "signatures")
EVENTS: TypeAdapter[tuple[Event, ...]] = TypeAdapter(tuple[Event, ...])


class JobRecord(BaseModel):
    """One job. Only ``sealed`` and ``load_job_record`` make one that counts."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    format: Literal["levelhead-job"] = "levelhead-job"
    version: Literal[1] = 1
    job: Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,32}$")]
    workshop: Annotated[str, Field(max_length=200)] = ""
    address: Annotated[str, Field(max_length=200)] = ""
    software: Annotated[str, Field(max_length=80)] = ""
    events: Annotated[tuple[dict[str, Any], ...], Field(min_length=1, max_length=100_000)]
    sha256: str = ""
    signatures: tuple[Signature, ...] = ()

    def happened(self) -> tuple[Event, ...]:
        """Return the events. Raises ``ValidationError``."""
        return EVENTS.validate_python(self.events)

    def replayed(self) -> Job:
        """Return the job that they made. Raises ``ValueError`` where they do not make one."""
        events = self.happened()
        if events[0].what.kind != "opened" or events[0].number != 1:
            raise ValueError("does not begin with the opening of a job")
        return replayed(events)


def job_record(
    job: str, events: Iterable[Event], workshop: str = "", address: str = "", software: str = ""
) -> JobRecord:
    """Return the sealed record of a job."""
    plain = EVENTS.dump_python(tuple(events), mode="json")
    return sealed(
        JobRecord(
            job=job, workshop=workshop, address=address, software=software, events=tuple(plain)
        )
    )


def sealed(record: JobRecord) -> JobRecord:
    """Return the record with its hash filled in."""
    found = digest(record.model_dump(mode="json"), UNHASHED)
    return record.model_copy(update={"sha256": found})


def signed(record: JobRecord, key: Ed25519PrivateKey) -> JobRecord:
    """Return the record with a signature more; one of the same key is replaced."""
    mine = key_id(key.public_key())
    kept = tuple(each for each in record.signatures if each.key_id != mine)
    body = canonical(record.model_dump(mode="json"), ("signatures",))
    return record.model_copy(update={"signatures": (*kept, signature_of(body, key))})


def dump_job_record(record: JobRecord) -> str:
    """Return a record as JSON text."""
    return json.dumps(record.model_dump(mode="json"), indent=1, sort_keys=True) + "\n"


def is_job_record(text: str) -> bool:
    """Say whether a text claims to be the record of a job."""
    return f'"{FORMAT}"' in text


def load_job_record(text: str, where: str) -> JobRecord:
    """Read a record; ``where`` names it in messages. Its signatures are not looked at.

    Raises:
        CalibrationFileError: it cannot be read, or its events make no job; as ``RecordAltered``,
            its hash differs.
    """
    raw = parse(text, where)
    if raw.get("format") != FORMAT or raw.get("version") != 1:
        raise CalibrationFileError(where, f"is no {FORMAT} record of version 1")
    unaltered(raw, where, UNHASHED)
    try:
        record = JobRecord.model_validate(raw)
        record.replayed()
    except ValidationError as error:
        raise CalibrationFileError(where, str(fault_of(error, raw, JobRecord))) from error
    except (ValueError, AssertionError) as error:
        raise CalibrationFileError(where, f"its events make no job: {error}") from error
    return record


def verified(record: JobRecord, keys: Iterable[Ed25519PublicKey]) -> tuple[Signed, ...]:
    """Return for each signature whether it holds under the key that it names."""
    known = keyring(keys)
    body = canonical(record.model_dump(mode="json"), ("signatures",))
    return tuple(held_against(each, body, known) for each in record.signatures)


def faults(record: JobRecord, keys: tuple[Ed25519PublicKey, ...]) -> tuple[str, ...]:
    """Return what speaks against a record for somebody who trusts these keys."""
    if not keys:
        return ()
    found = verified(record, keys)
    if not found:
        return ("is not signed",)
    failing = [f"the signature of {each.key_id} fails" for each in found if each.holds is False]
    if not failing and not any(each.holds for each in found):
        return ("is signed by none of the keys that are trusted",)
    return tuple(failing)
