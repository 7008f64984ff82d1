"""The calibration records, as they were sealed: kept for ever, checked at each use."""

import sqlite3
from collections.abc import Collection

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from calibration.errors import CalibrationFileError
from calibration.records.chain import chain_end, names_another
from calibration.records.check import check_record
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord, Claim, claim_of, load_record
from ingest.core.ids import HeadId
from ingest.store.database import transaction


class StoredRecords:
    """Satisfies ``CalibrationRecords``. Records are added, never changed.

    ``keys``: whose signatures count. Without any, a record need only be as it was sealed.
    """

    def __init__(
        self, connection: sqlite3.Connection, keys: Collection[Ed25519PublicKey] = ()
    ) -> None:
        self._connection = connection
        self._keys = tuple(keys)
        self._refused: dict[Claim, CalibrationFileError] = {}

    def add(self, text: str, where: str) -> AnyRecord:
        """Check a record and keep its text as it is; a second time changes nothing.

        ``where`` names the text in messages (a path). Raises ``CalibrationFileError`` when it
        is unreadable, altered or not signed by one of the keys, or when its id was given to
        another record; the head that it says it is of is then refused by ``newest``.
        """
        try:
            record = load_record(text, where)
            self._check_trust(record, where)
            self._keep(record, text, where)
        except CalibrationFileError as error:
            claim = claim_of(text)
            if claim is not None:
                self._refused[claim] = error
            raise
        return record

    def newest(self, head: HeadId) -> AnyRecord | None:
        """Return the head's newest record, the end of its chain, or None when it has none.

        Raises ``CalibrationFileError`` when that one has been altered, belongs to another head
        or is not signed by one of the keys, when the chain forks, or when one that could be
        newer was refused. An older one does not step in: nobody would notice that the head is
        not corrected by what its papers say.
        """
        records = self.all_of(head)
        newest = chain_end(records)
        for claim, error in self._refused.items():
            if claim.head_id == head and not _superseded(claim, records, newest):
                raise error
        if newest is not None:
            self._check_trust(newest, f"stored record {newest.record_id}")
        return newest

    def heads(self) -> tuple[HeadId, ...]:
        """Return the heads of which there is a record, or one that was refused."""
        rows = self._connection.execute("SELECT DISTINCT head_id FROM calibration_record")
        known = {str(head) for (head,) in rows} | {claim.head_id for claim in self._refused}
        return tuple(HeadId(head) for head in sorted(known))

    def all_of(self, head: HeadId) -> tuple[AnyRecord, ...]:
        """Return all of a head's records, in the order in which they were added.

        Raises ``CalibrationFileError`` when one has been altered or belongs to another head.
        """
        rows = self._connection.execute(
            "SELECT record_id, sha256, text FROM calibration_record WHERE head_id = ?"
            " ORDER BY added",
            (head,),
        ).fetchall()
        return tuple(_checked(head, *row) for row in rows)

    def _check_trust(self, record: AnyRecord, where: str) -> None:
        faults = check_record(record, self._keys).faults if self._keys else ()
        if faults:
            raise CalibrationFileError(where, f"record {record.record_id} {faults[0]}")

    def _keep(self, record: AnyRecord, text: str, where: str) -> None:
        with transaction(self._connection):
            known = self._connection.execute(
                "SELECT added, sha256, text FROM calibration_record WHERE record_id = ?",
                (record.record_id,),
            ).fetchone()
            if known is None:
                self._insert(None, record, text)
            elif known[1] != record.sha256:
                reason = f"another record with the id {record.record_id} is in the store"
                raise CalibrationFileError(where, reason)
            elif _more_signed(record, known[2]):
                self._connection.execute(
                    "DELETE FROM calibration_record WHERE added = ?", (known[0],)
                )
                self._insert(known[0], record, text)

    def _insert(self, added: int | None, record: AnyRecord, text: str) -> None:
        issued = record.issued.isoformat()
        self._connection.execute(
            "INSERT INTO calibration_record (added, record_id, head_id, issued, sha256, text)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (added, record.record_id, record.head_id, issued, record.sha256, text),
        )


def _checked(head: HeadId, record_id: str, sha256: str, text: str) -> AnyRecord:
    where = f"stored record {record_id}"
    record = load_record(text, where)
    if record.head_id != head:
        raise CalibrationFileError(where, f"belongs to head {record.head_id}, not {head}")
    if record.sha256 != sha256 or record.record_id != record_id:
        raise CalibrationFileError(where, "is not the record that was stored under this id")
    return record


def _superseded(claim: Claim, records: Collection[AnyRecord], newest: AnyRecord | None) -> bool:
    """Say whether a record that was refused cannot be the head's newest, if it is what it says."""
    known = any(record.record_id == claim.record_id for record in records if record is not newest)
    return known or any(names_another(record, claim.record_id) for record in records)


def _more_signed(record: AnyRecord, stored: str) -> bool:
    """Say whether the same content has come back with signatures that were not yet there."""
    if not isinstance(record, CalibrationRecord):
        return False
    before = load_record(stored)
    return isinstance(before, CalibrationRecord) and set(record.signatures) > set(before.signatures)
