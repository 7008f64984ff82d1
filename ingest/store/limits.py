"""Every version of every set of limits: added, never changed, never taken away."""

import hashlib
import sqlite3

from ingest.core.errors import ConfigError, InputError
from ingest.job.limits.limitset import LimitSet, Version
from ingest.payload.limits_file import dump_limits, parse_limits
from ingest.store.database import transaction


class StoredLimits:
    """Reads and adds versions. What is read is held against its hash."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def add(self, limits: LimitSet) -> None:
        """Keep a version; it is on the disk when this returns.

        Raises ``InputError`` where it does not follow the newest version that is here: somebody
        else has saved one meanwhile.
        """
        text = dump_limits(limits)
        with transaction(self._connection):
            newest = self._newest_number(limits.name)
            if newest is not None and limits.number != newest + 1:
                reason = f"there is a version {newest} by now; look at it, and do it again"
                raise InputError(str(limits.version), None, reason)
            self._connection.execute(
                "INSERT INTO limit_set (name, number, sha256, text) VALUES (?, ?, ?, ?)",
                (limits.name, limits.number, _digest(text), text),
            )

    def names(self) -> tuple[str, ...]:
        """Return the names that have a version, in their order."""
        found = self._connection.execute("SELECT DISTINCT name FROM limit_set ORDER BY name")
        return tuple(name for (name,) in found)

    def newest(self, name: str) -> LimitSet | None:
        """Return the newest version of a name. Raises ``ConfigError`` where it was altered."""
        number = self._newest_number(name)
        return None if number is None else self.version(Version(name, number))

    def version(self, version: Version) -> LimitSet | None:
        """Return one version. Raises ``ConfigError`` where it was altered."""
        row = self._connection.execute(
            "SELECT sha256, text FROM limit_set WHERE name = ? AND number = ?",
            (version.name, version.number),
        ).fetchone()
        return None if row is None else _read(version, *row)

    def history(self, name: str) -> tuple[LimitSet, ...]:
        """Return all versions of a name, oldest first. Raises ``ConfigError``."""
        rows = self._connection.execute(
            "SELECT number, sha256, text FROM limit_set WHERE name = ? ORDER BY number", (name,)
        ).fetchall()
        return tuple(_read(Version(name, number), *found) for number, *found in rows)

    def _newest_number(self, name: str) -> int | None:
        query = "SELECT max(number) FROM limit_set WHERE name = ?"
        found = self._connection.execute(query, (name,)).fetchone()[0]
        return None if found is None else int(found)


def _read(version: Version, sha256: str, text: str) -> LimitSet:
    where = f"stored limits {version}"
    if _digest(text) != sha256:
        raise ConfigError("store", "limits", str(version), "was altered; put a copy in its place")
    return parse_limits(text, where)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
