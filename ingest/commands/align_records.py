"""The calibration records that simulated heads measure with: a bench's, else those drawn."""

from pathlib import Path

from calibration.errors import CalibrationFileError
from calibration.records.chain import coefficients_of
from calibration.records.text import load_record
from ingest.commands.drift_words import drift_line
from ingest.commands.record_folder import take_up
from ingest.core.errors import InputError
from ingest.core.ids import HeadId
from ingest.store.records import StoredRecords


def take_up_all(records: StoredRecords, folder: Path | None, drawn: list[str]) -> list[str]:
    """Take up a folder's records, and for heads that have none there those that were drawn.

    Raises ``InputError`` where the record of a head is refused: its readings would stand beside
    the truth without a correction, and all would wait for results that do not come.
    """
    said = take_up(records, folder)
    for text in drawn:
        head = HeadId(load_record(text).head_id)
        try:
            found = records.newest(head)
        except CalibrationFileError as error:
            reason = f"the record of head {head} is refused ({error}); no demo without it"
            raise InputError("--records", None, reason) from error
        if found is None:
            records.add(text, "drawn with the head")
        else:
            said.append(f"head {found.head_id}: {found.record_id} from {folder}")
    return said


def drift_lines(records: StoredRecords, drawn: list[str]) -> list[str]:
    """Say why U is large of heads whose record tells no drift, and stand in another temperature."""
    found = [records.newest(HeadId(load_record(text).head_id)) for text in drawn]
    parts = [coefficients_of(each).tilt for each in found if each is not None]
    return list(filter(None, [drift_line(part for part in parts if part is not None)]))
