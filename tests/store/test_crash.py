"""The database file after a crash, beside another process, and where it is not ours."""

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from calibration.errors import CalibrationFileError
from calibration.records.text import dump_record, load_record, seal
from ingest.core.errors import ConfigError
from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import NameTaken
from ingest.store.database import APPLICATION_ID, SCHEMA_VERSION, open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

ONE, TWO = HeadId("00000000000000a1"), HeadId("00000000000000a2")
KEPT = Path(__file__).parents[1] / "calibration" / "records" / "version-1.json"

WRITER = """
import os, signal, sys
from ingest.store.database import open_database, transaction
from ingest.store.head_names import StoredHeadNames
connection = open_database(sys.argv[1])
names = StoredHeadNames(connection)
for n in range(20):
    names.set_name(f"{n:016x}", f"head-{n}")
connection.execute("BEGIN IMMEDIATE")
connection.execute("INSERT INTO head_name VALUES ('half', 'half')")
os.kill(os.getpid(), signal.SIGKILL)
"""
OPENER = "import sys; from ingest.store.database import open_database; open_database(sys.argv[1])"


def one_line(error):
    text = str(error)
    assert "\n" not in text
    return text


def test_what_was_kept_survives_a_kill_and_what_was_half_done_does_not(tmp_path):
    path = tmp_path / "state.db"
    killed = subprocess.run([sys.executable, "-c", WRITER, str(path)], capture_output=True)
    assert killed.returncode == -9, killed.stderr
    connection = open_database(path)
    names = StoredHeadNames(connection)
    kept = [names.name_of(HeadId(f"{n:016x}")) for n in range(20)]
    assert kept == [f"head-{n}" for n in range(20)]
    assert names.head_named(HeadName("half")) is None
    connection.close()


def test_two_processes_may_make_the_file_at_once(tmp_path):
    path = tmp_path / "state.db"
    words = [sys.executable, "-c", OPENER, str(path)]
    both = [subprocess.Popen(words, stderr=subprocess.PIPE) for _ in range(3)]
    assert [process.communicate()[1] for process in both] == [b""] * 3
    assert [process.returncode for process in both] == [0, 0, 0]


@pytest.mark.parametrize("name", ["", "A", "two words", "a/b", "#", "ä", "x" * 33])
def test_what_is_no_topic_level_names_no_head_and_the_old_name_stays(name):
    names = StoredHeadNames(open_database(":memory:"))
    names.set_name(ONE, HeadName("alder"))
    with pytest.raises(ValueError, match="cannot name a head"):
        names.set_name(ONE, HeadName(name))
    assert names.name_of(ONE) == "alder"


def test_a_refused_name_leaves_both_heads_as_they_were():
    names = StoredHeadNames(open_database(":memory:"))
    names.set_name(ONE, HeadName("alder"))
    names.set_name(TWO, HeadName("birch"))
    with pytest.raises(NameTaken):
        names.set_name(TWO, HeadName("alder"))
    assert [names.name_of(head) for head in (ONE, TWO)] == ["alder", "birch"]


def test_the_file_itself_lets_no_two_heads_share_a_name():
    connection = open_database(":memory:")
    StoredHeadNames(connection).set_name(ONE, HeadName("alder"))
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute("INSERT INTO head_name VALUES (?, 'alder')", (TWO,))


def sealed(**changes):
    kept = load_record(KEPT.read_text(encoding="utf-8"))
    return seal(kept.model_copy(update={"sha256": "", **changes}))


def test_a_record_of_another_head_is_refused_by_both_names():
    connection = open_database(":memory:")
    record = sealed(record_id="cal-2026-0042")
    StoredRecords(connection).add(dump_record(record), "here")
    connection.execute("DROP TRIGGER calibration_record_never_changes")
    connection.execute("UPDATE calibration_record SET head_id = ?", (TWO,))
    with pytest.raises(CalibrationFileError) as refused:
        StoredRecords(connection).newest(TWO)
    for word in ("cal-2026-0042", record.head_id, TWO):
        assert word in one_line(refused.value)


def test_a_record_swapped_for_another_sealed_one_is_refused_by_name():
    connection = open_database(":memory:")
    record = sealed(record_id="cal-2026-0042")
    StoredRecords(connection).add(dump_record(record), "here")
    connection.execute("DROP TRIGGER calibration_record_never_changes")
    other = dump_record(sealed(record_id="cal-2026-0042", stub_m=0.123))
    connection.execute("UPDATE calibration_record SET text = ?", (other,))
    with pytest.raises(CalibrationFileError, match="cal-2026-0042"):
        StoredRecords(connection).newest(HeadId(record.head_id))


def test_one_id_names_one_record():
    records = StoredRecords(open_database(":memory:"))
    records.add(dump_record(sealed(record_id="cal-2026-0042")), "first.json")
    other = dump_record(sealed(record_id="cal-2026-0042", stub_m=0.123))
    with pytest.raises(CalibrationFileError, match=r"second\.json.*cal-2026-0042"):
        records.add(other, "second.json")


def test_a_record_that_was_added_outlives_the_process_as_it_was(tmp_path):
    path, record = tmp_path / "state.db", sealed()
    first = open_database(path)
    StoredRecords(first).add(dump_record(record), "here")
    first.close()
    second = open_database(path)
    assert StoredRecords(second).newest(HeadId(record.head_id)) == record
    second.close()


def newer(path):
    open_database(path).close()
    raw = sqlite3.connect(path)
    raw.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    raw.close()


def foreign(path):
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE cake (slices INTEGER)")
    raw.close()


def numbered(path):
    raw = sqlite3.connect(path)
    raw.execute(f"PRAGMA application_id = {APPLICATION_ID + 1}")
    raw.execute("PRAGMA user_version = 1")
    raw.close()


def torn(path):
    connection = open_database(path)
    names = StoredHeadNames(connection)
    for n in range(400):
        names.set_name(HeadId(f"{n:016x}"), HeadName(f"head-{n}"))
    connection.close()
    content = bytearray(path.read_bytes())
    content[4096 * 2 : 4096 * 6] = b"\xa5" * 4096 * 4
    path.write_bytes(content)


def a_folder(path):
    path.mkdir()


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (newer, f"schema version {SCHEMA_VERSION + 1}"),
        (foreign, "another program"),
        (numbered, "another program"),
        (torn, "damaged"),
        (a_folder, "cannot be opened"),
    ],
)
def test_a_file_that_cannot_serve_is_one_clear_line_and_stays_as_it_is(tmp_path, spoil, says):
    path = tmp_path / "state.db"
    spoil(path)
    before = path.read_bytes() if path.is_file() else None
    with pytest.raises(ConfigError) as refused:
        open_database(path)
    assert str(path) in one_line(refused.value)
    assert says in str(refused.value)
    assert before is None or path.read_bytes() == before
