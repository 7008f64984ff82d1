"""How the events of jobs are kept: the socket of a store, and what it is told."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from ingest.job.course.events import Event


@dataclass(frozen=True, slots=True)
class Asking:
    """Whose request it was: the client that asked, and the id that it gave it."""

    client: str
    request: str


@dataclass(frozen=True, slots=True)
class Answered:
    """The answer that a request got."""

    job: str
    ok: bool
    code: str
    text: str


class JobsUnkept(Exception):
    """The store cannot keep what happened; nothing was kept. The text says why, in one line."""


class JobStore(Protocol):
    """Where the events of jobs are kept. What it returned from is on the disk."""

    def add(
        self, job: str, events: Sequence[Event], asking: Asking | None, answered: Answered | None
    ) -> None:
        """Keep events and an answer, all or nothing. Raises ``JobsUnkept``."""
        ...

    def answer(self, asking: Asking) -> Answered | None:
        """Return the answer that a request got before; None where it is new."""
        ...

    def events(self, job: str, since: int = 0) -> tuple[Event, ...]:
        """Return a job's events after a number, in order."""
        ...

    def newest(self) -> str | None:
        """Return the job that was opened last; None where there is none."""
        ...

    def taken(self, job: str) -> bool:
        """Say whether there is a job of this name."""
        ...
