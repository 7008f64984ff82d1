"""The log of published results on disk: what it keeps, for how long, and through what."""

import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from ingest.core.errors import ConfigError
from ingest.core.ids import HeadId
from ingest.core.published import PublishedResult
from ingest.store.database import SCHEMA_VERSION, open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.published import ResultLog, StoredResults
from ingest.store.schema import STEPS

ONE, TWO = HeadId("00000000000000a1"), HeadId("00000000000000a2")
RESULT = PublishedResult(
    said_ms=1_000,
    bay="bay1",
    topic="axle/1/left/camber",
    settled="b-1 3.1",
    value_deg=-0.42,
    U_deg=0.05,
    k=2.0,
    quality="good",
    spread="bay study 2026-11-20",
    heads=((ONE, "cal-2026-0001"),),
)
BOTH = replace(
    RESULT, topic="axle/1/both/total-toe", heads=((ONE, "cal-2026-0001"), (TWO, None)), U_deg=None
)
WRITER = """
import sys
from dataclasses import replace
from pathlib import Path
sys.path.insert(0, sys.argv[3])
from test_published_results import RESULT
from ingest.store.published import ResultLog
log = ResultLog(Path(sys.argv[1]), sys.exit)
for n in range(50):
    log.note(replace(RESULT, settled=f"{sys.argv[2]} {n}"))
log.close()
"""


@pytest.fixture
def path(tmp_path):
    return tmp_path / "state.db"


@pytest.fixture
def results(path):
    return StoredResults(open_database(path))


def test_a_result_comes_back_as_it_was_by_each_of_its_heads(results, path):
    results.add(RESULT)
    results.add(BOTH)
    again = StoredResults(open_database(path))
    assert again.of(ONE, 0, 2_000) == (RESULT, BOTH)
    assert again.of(TWO, 0, 2_000) == (BOTH,)


def test_the_last_word_on_a_rest_counts(results):
    better = replace(RESULT, said_ms=1_500, value_deg=-0.43, U_deg=0.04)
    other_rest = replace(RESULT, said_ms=1_600, settled="b-1 3.2")
    other_bay = replace(RESULT, said_ms=1_700, bay="bay2")
    for each in (RESULT, better, other_rest, other_bay):
        results.add(each)
    assert results.of(ONE, 0, 2_000) == (better, other_rest, other_bay)


def test_a_time_is_taken_with_its_ends(results):
    for at in (999, 1_000, 1_500, 2_000, 2_001):
        results.add(replace(RESULT, said_ms=at, settled=f"b-1 {at}"))
    assert [r.said_ms for r in results.of(ONE, 1_000, 2_000)] == [1_000, 1_500, 2_000]


def test_no_more_than_so_many_are_kept_and_the_oldest_go_first(path):
    connection = open_database(path)
    results = StoredResults(connection, most=3)
    for n in range(5):
        results.add(replace(BOTH, said_ms=n, settled=f"b-1 {n}"))
    assert [r.said_ms for r in results.of(TWO, 0, 9)] == [2, 3, 4]
    assert results.oldest_ms() == 2
    assert connection.execute("SELECT count(*) FROM published_by").fetchone() == (6,)


def test_an_empty_log_has_no_oldest(results):
    assert results.oldest_ms() is None
    assert results.of(ONE, 0, 9) == ()


@pytest.mark.parametrize(
    "change", ["published_result SET value_deg = 0", "published_by SET head_id = ''"]
)
def test_what_was_published_never_changes(results, path, change):
    results.add(RESULT)
    with pytest.raises(sqlite3.IntegrityError, match="never changes"):
        sqlite3.connect(path).execute(f"UPDATE {change}")


def test_half_a_result_is_never_kept(results):
    twice = replace(RESULT, heads=((ONE, None), (ONE, None)))
    with pytest.raises(sqlite3.IntegrityError):
        results.add(twice)
    assert results.oldest_ms() is None


def test_two_processes_log_at_once_and_a_third_reads(path):
    here = str(Path(__file__).parent)
    words = [[sys.executable, "-c", WRITER, str(path), boot, here] for boot in ("b-1", "b-2")]
    both = [subprocess.Popen(each, stderr=subprocess.PIPE) for each in words]
    reader = StoredResults(open_database(path))
    while any(process.poll() is None for process in both):
        reader.of(ONE, 0, 2_000)
    assert [process.communicate()[1] for process in both] == [b"", b""]
    settled = {r.settled for r in reader.of(ONE, 0, 2_000)}
    assert settled == {f"{boot} {n}" for boot in ("b-1", "b-2") for n in range(50)}


def test_the_log_goes_on_beside_somebody_who_holds_the_file_for_a_moment(path):
    troubles = []
    connection = open_database(path)
    connection.execute("BEGIN IMMEDIATE")
    log = ResultLog(path, troubles.append)
    log.note(RESULT)
    connection.execute("ROLLBACK")
    log.close()
    assert troubles == []
    assert StoredResults(connection).of(ONE, 0, 2_000) == (RESULT,)


def test_a_damaged_file_is_said_once_and_stops_nobody(path):
    path.write_bytes(b"SQLite format 3\0" + b"\xff" * 4096)
    troubles = []
    log = ResultLog(path, troubles.append)
    for _ in range(3000):
        log.note(RESULT)
    log.close()
    (trouble,) = troubles
    assert str(path) in trouble
    assert "measuring goes on" in trouble
    assert "\n" not in trouble


def test_a_file_of_version_1_is_taken_up_and_keeps_what_it_has(path):
    old = sqlite3.connect(path)
    old.executescript(STEPS[0])
    old.execute("PRAGMA application_id = 0x4C564C48")
    old.execute("PRAGMA user_version = 1")
    old.execute("INSERT INTO head_name VALUES (?, 'alder')", (ONE,))
    old.commit()
    old.close()
    connection = open_database(path)
    assert connection.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    assert StoredHeadNames(connection).name_of(ONE) == "alder"
    StoredResults(connection).add(RESULT)


def test_a_step_up_that_fails_leaves_the_file_as_it_was(path):
    old = sqlite3.connect(path)
    old.executescript(STEPS[0] + "CREATE TABLE head_check (x);")
    old.execute("PRAGMA application_id = 0x4C564C48")
    old.execute("PRAGMA user_version = 1")
    old.close()
    with pytest.raises(ConfigError, match="head_check"):
        open_database(path)
    raw = sqlite3.connect(path)
    tables = {name for (name,) in raw.execute("SELECT name FROM sqlite_schema")}
    assert "published_result" not in tables
    assert raw.execute("PRAGMA user_version").fetchone() == (1,)
