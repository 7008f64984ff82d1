"""Records as files. A draft takes the place of its own draft, never of anything else."""

from pathlib import Path

from calibration.errors import CalibrationFileError
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord, dump_record, load_record, seal
from ingest.commands.tables import read_text
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError

ANOTHER_PLACE = "name another file with -o"


def read_record(path: str) -> AnyRecord:
    """Read a record of any version from a file or, for ``-``, standard input."""
    name, text = read_text(path)
    return load_record(text, name)


def write_draft_file(path: Path, record: CalibrationRecord) -> None:
    """Write a draft whole. Raises ``InputError`` as ``see_draft_place`` and ``write_whole``."""
    see_draft_place(path, record.head_id)
    write_whole(path, dump_record(seal(record)))


def see_draft_place(path: Path, head_id: str) -> None:
    """See to it that a draft of a head may take this place.

    A signed record is what a certificate stands on, and readings cannot be taken again as they
    were. Raises ``InputError`` where something is there that is no unsigned draft of this head.
    """
    if not path.exists():
        return
    found = _record_in(path)
    if found is None:
        raise InputError(str(path), None, f"is there already and is no draft; {ANOTHER_PLACE}")
    if found.signatures:
        reason = f"is there already, signed, and stays as it is; {ANOTHER_PLACE}"
        raise InputError(str(path), None, reason)
    if found.head_id != head_id:
        reason = f"is the draft of head {found.head_id}, and this one is of {head_id}"
        raise InputError(str(path), None, f"{reason}; {ANOTHER_PLACE}")


def _record_in(path: Path) -> CalibrationRecord | None:
    if not path.is_file():
        return None
    try:
        found = load_record(read_text(str(path))[1], str(path))
    except (CalibrationFileError, InputError):
        return None
    return found if isinstance(found, CalibrationRecord) else None
