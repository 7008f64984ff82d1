"""Head names and calibration records on disk."""

import json
import sqlite3
from pathlib import Path

import pytest

from calibration.errors import CalibrationFileError
from calibration.records.text import dump_record, load_record, seal
from ingest.core.errors import ConfigError
from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import NameTaken
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

ONE, TWO = HeadId("00000000000000a1"), HeadId("00000000000000a2")
KEPT = Path(__file__).parents[1] / "calibration" / "records" / "version-1.json"


def record(**changes):
    kept = load_record(KEPT.read_text(encoding="utf-8"))
    return seal(kept.model_copy(update={"sha256": "", **changes}))


def test_a_name_outlives_the_process(tmp_path):
    path = tmp_path / "state.db"
    first = open_database(path)
    StoredHeadNames(first).set_name(ONE, HeadName("alder"))
    first.close()
    names = StoredHeadNames(open_database(path))
    assert names.name_of(ONE) == "alder"
    assert names.head_named(HeadName("alder")) == ONE


def test_a_name_belongs_to_one_head():
    names = StoredHeadNames(open_database(":memory:"))
    names.set_name(ONE, HeadName("alder"))
    with pytest.raises(NameTaken) as taken:
        names.set_name(TWO, HeadName("alder"))
    assert taken.value.holder == ONE
    names.set_name(ONE, HeadName("birch"))
    names.set_name(TWO, HeadName("alder"))
    assert names.name_of(TWO) == "alder"


def test_the_newest_record_counts():
    records = StoredRecords(open_database(":memory:"))
    old, new = record(record_id="cal-2026-0001"), record(record_id="cal-2026-0002")
    later = new.model_copy(update={"issued": old.issued.replace(year=old.issued.year + 1)})
    later = seal(later.model_copy(update={"sha256": "", "due": None}))
    for each in (later, old):
        records.add(dump_record(each), "here")
    assert records.newest(HeadId(old.head_id)).record_id == "cal-2026-0002"
    assert records.newest(ONE) is None


def test_adding_the_same_record_twice_is_nothing_special():
    records = StoredRecords(open_database(":memory:"))
    text = dump_record(record())
    assert records.add(text, "here") == records.add(text, "here")


def test_an_altered_record_is_refused_by_name():
    text = dump_record(record())
    fields = json.loads(text)
    fields["stub_m"] += 0.001
    with pytest.raises(CalibrationFileError, match=r"bench\.json: altered"):
        StoredRecords(open_database(":memory:")).add(json.dumps(fields), "bench.json")


def test_a_record_in_the_store_cannot_be_changed_and_is_refused_where_it_was(tmp_path):
    connection = open_database(tmp_path / "state.db")
    records, sealed = StoredRecords(connection), record()
    records.add(dump_record(sealed), "here")
    listed = list(connection.execute("SELECT type, name FROM sqlite_master"))
    table = next(name for kind, name in listed if kind == "table" and "record" in name)
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    column = next(name for name in columns if "text" in name)
    change = f"UPDATE {table} SET {column} = replace({column}, ?, ?)"
    values = (f'"stub_m": {sealed.stub_m}', '"stub_m": 0.123')
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute(change, values)
    for kind, name in listed:
        if kind == "trigger":
            connection.execute(f"DROP TRIGGER {name}")
    connection.execute(change, values)
    with pytest.raises(CalibrationFileError):
        records.newest(HeadId(sealed.head_id))


@pytest.mark.parametrize("content", [b"not a database at all, but long enough to be one" * 40])
def test_a_damaged_file_is_one_clear_error(tmp_path, content):
    path = tmp_path / "state.db"
    path.write_bytes(content)
    with pytest.raises(ConfigError) as refused:
        open_database(path)
    assert "\n" not in str(refused.value)
    assert path.read_bytes() == content


def test_a_file_of_a_newer_program_is_left_alone(tmp_path):
    path = tmp_path / "state.db"
    open_database(path).close()
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA user_version = 999")
    raw.close()
    with pytest.raises(ConfigError):
        open_database(path)
