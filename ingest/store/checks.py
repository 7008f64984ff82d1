"""The history of each head's short checks on the bar: kept for ever, never changed."""

import math
import sqlite3
from dataclasses import dataclass

from calibration.verification.shift_check import Change, HeadCheck
from ingest.core.ids import HeadId
from ingest.store.database import transaction


@dataclass(frozen=True, slots=True)
class PastFigure:
    """One change as it was found, deg."""

    change_deg: float
    u_deg: float
    limit_deg: float
    decision: str


@dataclass(frozen=True, slots=True)
class PastCheck:
    """One check of one head. ``figures`` by quantity."""

    performed_ms: int
    bar: str
    record_id: str
    decision: str
    figures: dict[str, PastFigure]


@dataclass(frozen=True, slots=True)
class Kept:
    """As what readings stand in the history: when, on which bar, of which head and record."""

    performed_ms: int
    bar: str
    head_id: str
    record_id: str


class StoredChecks:
    """Reads and adds checks."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def add(
        self, checks: tuple[HeadCheck, ...], performed_ms: int, bar: str, raw_sha256: str
    ) -> tuple[Kept, ...]:
        """Keep the checks of one file, all or none; return as what it was kept before, if it was.

        Then nothing is added: the same readings count once.
        """
        with transaction(self._connection):
            rows = self._connection.execute(
                "SELECT performed_ms, bar, head_id, record_id FROM head_check"
                " WHERE raw_sha256 = ? ORDER BY added",
                (raw_sha256,),
            ).fetchall()
            if not rows:
                for check in checks:
                    self._insert(check, performed_ms, bar, raw_sha256)
        return tuple(Kept(*row) for row in rows)

    def bars(self) -> frozenset[str]:
        """Return the bars on which any head was checked."""
        rows = self._connection.execute("SELECT DISTINCT bar FROM head_check").fetchall()
        return frozenset(bar for (bar,) in rows)

    def of(self, head: HeadId) -> tuple[PastCheck, ...]:
        """Return a head's checks, oldest first."""
        rows = self._connection.execute(
            "SELECT added, performed_ms, bar, record_id, decision FROM head_check"
            " WHERE head_id = ? ORDER BY performed_ms, added",
            (head,),
        ).fetchall()
        return tuple(
            PastCheck(at, bar, record, decision, self._figures(added))
            for added, at, bar, record, decision in rows
        )

    def _figures(self, added: int) -> dict[str, PastFigure]:
        rows = self._connection.execute(
            "SELECT quantity, change_deg, u_deg, limit_deg, decision FROM head_check_figure"
            " WHERE head_check = ?",
            (added,),
        ).fetchall()
        return {quantity: PastFigure(*found) for quantity, *found in rows}

    def _insert(self, check: HeadCheck, performed_ms: int, bar: str, raw_sha256: str) -> None:
        added = self._connection.execute(
            "INSERT INTO head_check"
            " (performed_ms, bar, head_id, record_id, decision, raw_sha256)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (performed_ms, bar, check.head_id, check.record_id, check.decision, raw_sha256),
        ).lastrowid
        self._connection.executemany(
            "INSERT INTO head_check_figure"
            " (head_check, quantity, change_deg, u_deg, limit_deg, decision)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            [(added, *_figure(change)) for change in check.changes],
        )


def _figure(change: Change) -> tuple[object, ...]:
    angles = map(math.degrees, (change.change_rad, change.u_rad, change.limit_rad))
    return (change.quantity, *angles, change.decision)
