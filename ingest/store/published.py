"""The log of published results: written by the service as it goes, read by head."""

import queue
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from ingest.core.errors import ConfigError
from ingest.core.ids import HeadId
from ingest.core.published import PublishedResult
from ingest.store.database import open_database, transaction

MOST = 100_000
"""Results that are kept, oldest dropped first: some years of a busy bay."""

WAITING = 1000
"""Results that may wait for a slow disk; more are lost, and said to be."""

COLUMNS = "said_ms, bay, topic, settled, value_deg, U_deg, k, quality, spread"


class StoredResults:
    """Reads and writes the log. Results are added; only retention takes any away."""

    def __init__(self, connection: sqlite3.Connection, most: int = MOST) -> None:
        self._connection = connection
        self._most = most

    def add(self, result: PublishedResult) -> None:
        """Keep one result; it is on the disk when this returns."""
        figures = (result.value_deg, result.U_deg, result.k, result.quality, result.spread)
        with transaction(self._connection):
            added = self._connection.execute(
                f"INSERT INTO published_result ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (result.said_ms, result.bay, result.topic, result.settled, *figures),
            ).lastrowid
            self._connection.executemany(
                "INSERT INTO published_by (head_id, result, record_id) VALUES (?, ?, ?)",
                [(head, added, record) for head, record in result.heads],
            )
            assert added is not None
            self._forget(added - self._most)

    def _forget(self, last: int) -> None:
        """Drop all results up to a number."""
        for table, key in (("published_by", "result"), ("published_result", "added")):
            self._connection.execute(f"DELETE FROM {table} WHERE {key} <= ?", (last,))

    def of(self, head: HeadId, since_ms: int, until_ms: int) -> tuple[PublishedResult, ...]:
        """Return what stood on a head in a time, its ends included, each rest's last word."""
        rows = self._connection.execute(
            f"SELECT added, {COLUMNS} FROM published_result JOIN published_by ON result = added"
            " WHERE head_id = ? AND said_ms BETWEEN ? AND ? ORDER BY added",
            (head, since_ms, until_ms),
        ).fetchall()
        last = {(row[2], row[3], row[4]): row for row in rows}
        return tuple(self._result(row) for row in sorted(last.values()))

    def oldest_ms(self) -> int | None:
        """Return when the oldest result that is still kept was said; None where there is none."""
        row = self._connection.execute(
            "SELECT said_ms FROM published_result ORDER BY added LIMIT 1"
        ).fetchone()
        return None if row is None else int(row[0])

    def _result(self, row: Sequence[Any]) -> PublishedResult:
        added, said_ms, bay, topic, settled, value_deg, U_deg, k, quality, spread = row  # noqa: N806
        heads = self._connection.execute(
            "SELECT head_id, record_id FROM published_by WHERE result = ? ORDER BY head_id",
            (added,),
        ).fetchall()
        return PublishedResult(
            said_ms=said_ms,
            bay=bay,
            topic=topic,
            settled=settled,
            value_deg=value_deg,
            U_deg=U_deg,
            k=k,
            quality=quality,
            spread=spread,
            heads=tuple((HeadId(head), record) for head, record in heads),
        )


class ResultLog:
    """Satisfies ``PublishedResults``: writes in a thread of its own, which owns a connection.

    ``on_trouble`` is called once, from that thread, with one line, when the log cannot be
    written any more; what comes after is lost, and measuring goes on.
    """

    def __init__(self, path: Path, on_trouble: Callable[[str], None]) -> None:
        self._path = path
        self._on_trouble = on_trouble
        self._queue: queue.Queue[PublishedResult | None] = queue.Queue(WAITING)
        self._troubled = False
        self._thread = threading.Thread(target=self._run, name="results", daemon=True)
        self._thread.start()

    def note(self, result: PublishedResult) -> None:
        """Keep one result, by and by."""
        if self._troubled:
            return
        try:
            self._queue.put_nowait(result)
        except queue.Full:
            self._trouble("the disk is too slow")

    def close(self) -> None:
        """Write what is left. Idempotent."""
        if self._thread.is_alive():
            self._queue.put(None)
            self._thread.join()

    def _run(self) -> None:
        try:
            with closing(open_database(self._path)) as connection:
                log = StoredResults(connection)
                for result in self._waiting():
                    log.add(result)
        except (sqlite3.Error, ConfigError) as error:
            self._trouble(str(error))
            for _ in self._waiting():  # nobody waits for a file that is gone
                pass

    def _waiting(self) -> Iterator[PublishedResult]:
        while (result := self._queue.get()) is not None:
            yield result

    def _trouble(self, why: str) -> None:
        if not self._troubled:
            self._troubled = True
            self._on_trouble(
                f"{self._path}: {why}; results are no longer logged, measuring goes on"
            )
