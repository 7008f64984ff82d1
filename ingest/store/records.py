"""The calibration records, as they were sealed: kept for ever, checked at each use."""

import sqlite3

from calibration.errors import CalibrationFileError
from calibration.records.text import AnyRecord, load_record
from ingest.core.ids import HeadId
from ingest.store.database import transaction


class StoredRecords:
    """Satisfies ``CalibrationRecords``. Records are added, never changed."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def add(self, text: str, where: str) -> AnyRecord:
        """Check a record and keep its text as it is; a second time changes nothing.

        ``where`` names the text in messages (a path). Raises ``CalibrationFileError`` when
        it is unreadable or altered, or when its id was given to another record.
        """
        record = load_record(text, where)
        with transaction(self._connection):
            known = self._connection.execute(
                "SELECT sha256 FROM calibration_record WHERE record_id = ?", (record.record_id,)
            ).fetchone()
            if known is None:
                self._insert(record, text)
            elif known[0] != record.sha256:
                reason = f"another record with the id {record.record_id} is in the store"
                raise CalibrationFileError(where, reason)
        return record

    def newest(self, head: HeadId) -> AnyRecord | None:
        """Return the head's newest record (by its date, then by when it was added), or None.

        Raises ``CalibrationFileError`` when that one has been altered or belongs to another
        head. An older one does not step in: nobody would notice that the head is not
        corrected by what its papers say.
        """
        row = self._connection.execute(
            "SELECT record_id, sha256, text FROM calibration_record WHERE head_id = ?"
            " ORDER BY issued DESC, added DESC LIMIT 1",
            (head,),
        ).fetchone()
        if row is None:
            return None
        record_id, sha256, text = row
        record = load_record(text, f"stored record {record_id}")
        if record.head_id != head:
            raise CalibrationFileError(
                f"stored record {record_id}", f"belongs to head {record.head_id}, not {head}"
            )
        if record.sha256 != sha256 or record.record_id != record_id:
            raise CalibrationFileError(
                f"stored record {record_id}", "is not the record that was stored under this id"
            )
        return record

    def _insert(self, record: AnyRecord, text: str) -> None:
        self._connection.execute(
            "INSERT INTO calibration_record (record_id, head_id, issued, sha256, text)"
            " VALUES (?, ?, ?, ?, ?)",
            (record.record_id, record.head_id, record.issued.isoformat(), record.sha256, text),
        )
