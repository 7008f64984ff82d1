"""Vehicles in the store: every version is kept as it was."""

import sqlite3

import pytest

from ingest.core.errors import ConfigError
from ingest.store.database import APPLICATION_ID, open_database
from ingest.store.schema import STEPS
from ingest.store.vehicles import StoredVehicles


@pytest.fixture
def connection():
    opened = open_database(":memory:")
    yield opened
    opened.close()


def test_every_version_is_kept_and_the_newest_counts(connection):
    store = StoredVehicles(connection)
    for text in ("one", "two", "three"):
        store.keep("van", text, "A", 1)
    store.keep("tipper", "other", "", 2)
    assert store.version("van").text == "three"
    assert [store.version("van", n).text for n in (1, 2, 3)] == ["one", "two", "three"]
    assert store.version("van", 4) is None
    assert store.version("lorry") is None
    assert [each.name for each in store.newest()] == ["tipper@1", "van@3"]


def test_the_same_text_again_is_no_new_version_but_an_older_one_is(connection):
    store = StoredVehicles(connection)
    assert [store.keep("van", text, "", 1).version for text in ("a", "a", "b", "a")] == [1, 1, 2, 3]


@pytest.mark.parametrize(
    "statement", ["UPDATE vehicle_version SET text = ''", "DELETE FROM vehicle_version"]
)
def test_nothing_is_overwritten_or_taken_out(connection, statement):
    StoredVehicles(connection).keep("van", "one", "", 1)
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)


def test_a_version_that_was_altered_is_refused(connection):
    store = StoredVehicles(connection)
    store.keep("van", "one", "", 1)
    connection.execute("DROP TRIGGER vehicle_version_never_changes")
    connection.execute("UPDATE vehicle_version SET text = 'two'")
    for read in (lambda: store.version("van"), store.newest, lambda: store.keep("van", "x", "", 2)):
        with pytest.raises(ConfigError, match="van@1"):
            read()


def test_a_store_from_before_there_were_vehicles_is_taken_up(tmp_path):
    path = tmp_path / "old.db"
    before = next(i for i, step in enumerate(STEPS) if "vehicle" in step)
    connection = sqlite3.connect(path)
    connection.executescript("".join(STEPS[:before]))
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {before}")
    connection.close()
    connection = open_database(path)
    assert StoredVehicles(connection).keep("van", "one", "", 1).version == 1
    connection.close()
