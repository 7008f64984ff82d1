"""Jobs, as the events that made them: each is on the disk before anybody hears of it.

A request is kept with the events that came of it, in one transaction. So after a crash a repeat
of it gets the same answer and no second action.
"""

import sqlite3
from collections.abc import Sequence
from typing import Annotated

from pydantic import Field, TypeAdapter

from ingest.job.course.events import Event, What
from ingest.job.course.keeping import Answered, Asking, JobsUnkept
from ingest.store.database import transaction

WHAT: TypeAdapter[What] = TypeAdapter(Annotated[What, Field(discriminator="kind")])


class StoredJobs:
    """Reads and adds events of jobs. Nothing is ever changed or taken away."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def add(
        self, job: str, events: Sequence[Event], asking: Asking | None, answered: Answered | None
    ) -> None:
        """Keep events and the answer to what was asked, all or nothing; on the disk on return.

        Raises ``JobsUnkept`` where that cannot be (a full disk); then nothing was added.
        """
        try:
            self._add(job, events, asking, answered)
        except sqlite3.Error as error:
            raise JobsUnkept(
                f"the store cannot keep the job ({error}); make room on its disk"
            ) from error

    def _add(
        self, job: str, events: Sequence[Event], asking: Asking | None, answered: Answered | None
    ) -> None:
        with transaction(self._connection):
            self._connection.executemany(
                "INSERT INTO job_event (job, number, at, by, what) VALUES (?, ?, ?, ?, ?)",
                [(job, e.number, e.at, e.by, WHAT.dump_json(e.what).decode()) for e in events],
            )
            if asking is not None and answered is not None:
                self._connection.execute(
                    "INSERT INTO job_answer (client, request, job, ok, code, text)"
                    " VALUES (?, ?, ?, ?, ?, ?)",
                    (
                        asking.client,
                        asking.request,
                        answered.job,
                        int(answered.ok),
                        answered.code,
                        answered.text,
                    ),
                )

    def answer(self, asking: Asking) -> Answered | None:
        """Return the answer that a request got before; None where it is new."""
        row = self._connection.execute(
            "SELECT job, ok, code, text FROM job_answer WHERE client = ? AND request = ?",
            (asking.client, asking.request),
        ).fetchone()
        return None if row is None else Answered(row[0], bool(row[1]), row[2], row[3])

    def events(self, job: str, since: int = 0) -> tuple[Event, ...]:
        """Return a job's events after a number, in order."""
        rows = self._connection.execute(
            "SELECT number, at, by, what FROM job_event WHERE job = ? AND number > ?"
            " ORDER BY number",
            (job, since),
        ).fetchall()
        return tuple(Event(n, at, by, WHAT.validate_json(what)) for n, at, by, what in rows)

    def newest(self) -> str | None:
        """Return the job that was opened last; None where there is none."""
        row = self._connection.execute(
            "SELECT job FROM job_event WHERE number = 1 ORDER BY added DESC LIMIT 1"
        ).fetchone()
        return None if row is None else str(row[0])

    def taken(self, job: str) -> bool:
        """Say whether there is a job of this name."""
        query = "SELECT 1 FROM job_event WHERE job = ? LIMIT 1"
        return self._connection.execute(query, (job,)).fetchone() is not None

    def jobs(self) -> tuple[str, ...]:
        """Return every job, the oldest first."""
        rows = self._connection.execute(
            "SELECT job FROM job_event WHERE number = 1 ORDER BY added"
        ).fetchall()
        return tuple(job for (job,) in rows)
