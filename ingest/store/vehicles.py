"""Vehicles by id, every version of each: kept for ever, never changed."""

import hashlib
import sqlite3
from dataclasses import dataclass

from ingest.core.errors import ConfigError
from ingest.store.database import transaction

COLUMNS = "vehicle_id, version, kept_ms, author, sha256, text"


@dataclass(frozen=True, slots=True)
class KeptVehicle:
    """One version of a vehicle, as its file was. ``kept_ms``: when it was taken up, UTC."""

    vehicle_id: str
    version: int
    kept_ms: int
    author: str
    text: str

    @property
    def name(self) -> str:
        """How it is called: ``rigid-8x4@2``."""
        return f"{self.vehicle_id}@{self.version}"


class StoredVehicles:
    """Reads and adds versions of vehicles."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def keep(self, vehicle_id: str, text: str, author: str, kept_ms: int) -> KeptVehicle:
        """Keep a file as the vehicle's newest version; return that.

        Nothing is added where the newest version has the same text.
        """
        with transaction(self._connection):
            newest = self.version(vehicle_id)
            if newest is not None and newest.text == text:
                return newest
            version = 1 if newest is None else newest.version + 1
            self._connection.execute(
                f"INSERT INTO vehicle_version ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)",
                (vehicle_id, version, kept_ms, author, _sha256(text), text),
            )
        return KeptVehicle(vehicle_id, version, kept_ms, author, text)

    def version(self, vehicle_id: str, version: int | None = None) -> KeptVehicle | None:
        """Return a version of a vehicle, the newest where none is named; None where there is none.

        Raises ``ConfigError`` where it is not as it was kept.
        """
        row = self._connection.execute(
            f"SELECT {COLUMNS} FROM vehicle_version WHERE vehicle_id = ?"
            " AND version = coalesce(?, version) ORDER BY version DESC LIMIT 1",
            (vehicle_id, version),
        ).fetchone()
        return None if row is None else _checked(*row)

    def newest(self) -> tuple[KeptVehicle, ...]:
        """Return the newest version of every vehicle, by id. Raises ``ConfigError``."""
        rows = self._connection.execute(
            f"SELECT {COLUMNS} FROM vehicle_version AS one WHERE version ="
            " (SELECT max(version) FROM vehicle_version WHERE vehicle_id = one.vehicle_id)"
            " ORDER BY vehicle_id"
        ).fetchall()
        return tuple(_checked(*row) for row in rows)


def _checked(
    vehicle_id: str, version: int, kept_ms: int, author: str, sha256: str, text: str
) -> KeptVehicle:
    kept = KeptVehicle(vehicle_id, version, kept_ms, author, text)
    if _sha256(text) != sha256:
        reason = "is not as it was kept; import its file again"
        raise ConfigError("store", "vehicle", kept.name, reason)
    return kept


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
