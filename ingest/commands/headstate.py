"""A head by the name or the id that a person gives, in the database of a bay."""

import contextlib
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from ingest.core.errors import ConfigError, InputError
from ingest.core.ids import HeadId, HeadName
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames

STATE = Path("levelhead.db")
"""Where a configuration keeps state that names no other file."""

IDENTITY = re.compile(r"^[0-9a-f]{16}$")


@contextlib.contextmanager
def opened(path: Path, *, make: bool = False) -> Iterator[sqlite3.Connection]:
    """Open a database that is there (or, with ``make``, is not there yet), and close it.

    Raises ``InputError`` when there is none, ``ConfigError`` when it cannot be used or fails.
    """
    if not path.is_file() and not make:
        reason = "no such database; name the state_file of the bay's configuration"
        raise InputError(f"--state {path}", None, reason)
    connection = open_database(path)
    try:
        yield connection
    except sqlite3.Error as error:
        advice = "put a copy in its place, or try again"
        reason = f"damaged or in use ({error}); {advice}"
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL:
            reason = "the disk is full; nothing of this was kept: make room, and do it again"
        raise ConfigError("store", "path", str(path), reason) from error
    finally:
        connection.close()


def head_called(text: str, connection: sqlite3.Connection, option: str) -> HeadId:
    """Return the head of a name, or of an id. Raises ``InputError`` where nobody has the name."""
    found = StoredHeadNames(connection).head_named(HeadName(text))
    if found is not None:
        return found
    if IDENTITY.match(text):
        return HeadId(text)
    reason = f"no head is called {text!r}; give its name in the bay or its id (16 hex digits)"
    raise InputError(option, None, reason)
