"""Opens the one database file, makes it where there is none, and refuses what it is not."""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from ingest.core.errors import ConfigError
from ingest.store.schema import STEPS

APPLICATION_ID = 0x4C564C48
"""Marks the file as ours, in the place that SQLite keeps for that ("LVLH")."""

SCHEMA_VERSION = len(STEPS)

IN_MEMORY = ":memory:"

_BUSY_S = 2.0
ADVICE = "put a copy in its place, or move it away to start anew"


def open_database(path: Path | str) -> sqlite3.Connection:
    """Open the database at ``path`` (or ``":memory:"``), making it if it is not there.

    Every change is on the disk when the call that made it returns. The connection may be
    used from several threads: SQLite takes one statement after the other.

    Raises ``ConfigError`` when the file is damaged, of a newer program, or something else.
    """
    try:
        connection = sqlite3.connect(
            path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False
        )
    except sqlite3.Error as error:
        raise _refused(path, f"cannot be opened ({error})") from error
    with _closed_on_a_fault(connection, path):
        _prepare(connection, path)
    return connection


def open_copy(path: Path) -> sqlite3.Connection:
    """Open what the database at ``path`` holds, in memory; an empty one where there is none.

    Nothing is made or changed on the disk. Raises ``ConfigError`` as ``open_database``.
    """
    copy = sqlite3.connect(IN_MEMORY, isolation_level=None)
    with _closed_on_a_fault(copy, path):
        if path.exists():
            # Whoever reads beside nobody would leave the files of a log that is not needed.
            alone = not path.with_name(f"{path.name}-wal").exists()
            how = "immutable=1" if alone else "mode=ro"
            source = sqlite3.connect(f"{path.absolute().as_uri()}?{how}", _BUSY_S, uri=True)
            with contextlib.closing(source):
                source.backup(copy)
        _prepare(copy, path)
    return copy


@contextlib.contextmanager
def _closed_on_a_fault(connection: sqlite3.Connection, path: Path | str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        connection.close()
        raise _refused(path, f"damaged or in use ({error}); {ADVICE}") from error
    except ConfigError:
        connection.close()
        raise


@contextlib.contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Do all of it or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        # On a full disk SQLite may have rolled back by itself.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _prepare(connection: sqlite3.Connection, path: Path | str) -> None:
    # Another process may make the file meanwhile, all at once: its mark is looked for last.
    is_empty = not connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone()
    version = _pragma(connection, "user_version")
    is_ours = _pragma(connection, "application_id") == APPLICATION_ID
    if not is_ours and not (is_empty and version == 0):
        raise _refused(path, "is the database of another program; name another file")
    if version > SCHEMA_VERSION:
        allowed = f"this program knows up to {SCHEMA_VERSION}; use the newer program, or a copy"
        raise _refused(path, f"has schema version {version}: {allowed}")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    if version < SCHEMA_VERSION:
        _step_up(connection)
    found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise sqlite3.DatabaseError(" ".join(found.replace("*", " ").split()))


def _step_up(connection: sqlite3.Connection) -> None:
    """Add what newer versions have; what is there stays as it is."""
    with transaction(connection):
        # Another process may have been first.
        for script in STEPS[_pragma(connection, "user_version") :]:
            for statement in _statements(script):
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def _statements(script: str) -> Iterator[str]:
    """Split a script, as ``executescript`` would end the transaction."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])


def _refused(path: Path | str, reason: str) -> ConfigError:
    return ConfigError("store", "path", str(path), reason)
