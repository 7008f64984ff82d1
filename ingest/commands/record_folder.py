"""A folder of calibration records, as a bay or the demo takes them up."""

from pathlib import Path

from calibration.errors import CalibrationFileError
from ingest.commands.tables import read_bytes
from ingest.config import NO_FOLDER
from ingest.core.errors import ConfigError, InputError
from ingest.store.records import StoredRecords


def take_up(records: StoredRecords, folder: Path | None) -> list[str]:
    """Take up the calibration records of a folder; return a line for each that was refused."""
    if folder is None:
        return []
    if not folder.is_dir():
        raise ConfigError("bay", "records_dir", str(folder), NO_FOLDER)
    refused = []
    for path in sorted(folder.glob("*.json")):
        try:
            # What is not UTF-8 was damaged, and its head is to be told so.
            text = read_bytes(str(path))[1].decode("utf-8-sig", errors="replace")
            records.add(text, str(path))
        except (InputError, CalibrationFileError) as error:
            refused.append(f"{error}; this record is not used")
    return refused
