"""The names of the heads, kept over restarts."""

import sqlite3

from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import NameTaken
from ingest.store.database import transaction


class StoredHeadNames:
    """Satisfies ``HeadNames``."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def name_of(self, head: HeadId) -> HeadName | None:
        """Return the head's name, or None when it was never named."""
        found = self._one("SELECT name FROM head_name WHERE head_id = ?", head)
        return None if found is None else HeadName(found)

    def head_named(self, name: HeadName) -> HeadId | None:
        """Return the head of that name, or None."""
        found = self._one("SELECT head_id FROM head_name WHERE name = ?", name)
        return None if found is None else HeadId(found)

    def set_name(self, head: HeadId, name: HeadName) -> None:
        """Name a head, or rename it.

        Raises ``NameTaken`` when another head has that name, ``ValueError`` when it is no
        level of a topic.
        """
        with transaction(self._connection):
            holder = self.head_named(name)
            if holder is not None and holder != head:
                raise NameTaken(name, holder)
            try:
                self._connection.execute(
                    "INSERT INTO head_name (head_id, name) VALUES (?, ?)"
                    " ON CONFLICT (head_id) DO UPDATE SET name = excluded.name",
                    (head, name),
                )
            except sqlite3.IntegrityError as error:
                allowed = "use 1 to 32 of a-z, 0-9, _ and -"
                raise ValueError(f"{name!r} cannot name a head: {allowed}") from error

    def _one(self, query: str, key: str) -> str | None:
        row = self._connection.execute(query, (key,)).fetchone()
        return None if row is None else str(row[0])
