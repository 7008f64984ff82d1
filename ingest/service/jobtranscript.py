"""What a service asked of its jobs, noted for a replay, which has no store."""

from collections import defaultdict, deque
from collections.abc import Sequence
from typing import Any

from pydantic import TypeAdapter

from ingest.job.course.acts import Refused
from ingest.job.course.events import Event, Opened
from ingest.job.course.keeping import Answered, Asking, JobStore, JobsUnkept
from ingest.payload.job_brief import brief_of
from ingest.payload.job_cmd import JobOpen
from ingest.service.jobports import Brief, JobShop
from ingest.service.transcript import Transcript
from ingest.service.workings import Jobs

EVENTS: TypeAdapter[tuple[Event, ...]] = TypeAdapter(tuple[Event, ...])
OPENED = TypeAdapter(Opened)
ANSWERED = TypeAdapter(Answered | None)


def noting_jobs(jobs: Jobs, transcript: Transcript) -> Jobs:
    """Return jobs that note what they gave."""
    return Jobs(_NotingStore(jobs.store, transcript), _NotingShop(jobs.shop, transcript))


class _NotingStore:
    def __init__(self, store: JobStore, transcript: Transcript) -> None:
        self._store = store
        self._transcript = transcript

    def add(
        self, job: str, events: Sequence[Event], asking: Asking | None, answered: Answered | None
    ) -> None:
        """Keep events; raises ``JobsUnkept``."""
        try:
            self._store.add(job, events, asking, answered)
        except JobsUnkept as unkept:
            self._transcript.found("job kept", str(unkept))
            raise
        self._transcript.found("job kept", None)

    def answer(self, asking: Asking) -> Answered | None:
        """Return the answer of before."""
        found = self._store.answer(asking)
        self._transcript.found("job answered", ANSWERED.dump_python(found, mode="json"))
        return found

    def events(self, job: str, since: int = 0) -> tuple[Event, ...]:
        """Return a job's events."""
        found = self._store.events(job, since)
        self._transcript.found("job events", EVENTS.dump_python(found, mode="json"))
        return found

    def newest(self) -> str | None:
        """Return the job that was opened last."""
        found = self._store.newest()
        self._transcript.found("job newest", found)
        return found

    def taken(self, job: str) -> bool:
        """Say whether there is a job of this name."""
        found = self._store.taken(job)
        self._transcript.found("job taken", found)
        return found


class _NotingShop:
    def __init__(self, shop: JobShop, transcript: Transcript) -> None:
        self._shop = shop
        self._transcript = transcript

    def take(self, ask: JobOpen) -> Opened:
        """Return what a job is opened with; raises ``Refused``."""
        try:
            found = self._shop.take(ask)
        except Refused as refused:
            said = {"code": refused.code, "text": refused.text}
            self._transcript.found("job opened with", said)
            raise
        self._transcript.found("job opened with", OPENED.dump_python(found, mode="json"))
        return found

    def brief(self, opened: Opened) -> Brief:
        """Return what a job is held against."""
        return self._shop.brief(opened)


class ToldJobs:
    """A store and a shop of a replay: they give what was given live, in its order."""

    def __init__(self, answers: defaultdict[str, deque[Any]]) -> None:
        self._answers = answers

    def _next(self, key: str) -> Any:
        waiting = self._answers[key]
        return waiting.popleft() if waiting else None

    def add(
        self, job: str, events: Sequence[Event], asking: Asking | None, answered: Answered | None
    ) -> None:
        """Keep nothing; raises ``JobsUnkept`` where it did live."""
        trouble = self._next("job kept")
        if trouble is not None:
            raise JobsUnkept(trouble)

    def answer(self, asking: Asking) -> Answered | None:
        """Return the answer of before."""
        return ANSWERED.validate_python(self._next("job answered"))

    def events(self, job: str, since: int = 0) -> tuple[Event, ...]:
        """Return a job's events."""
        return EVENTS.validate_python(self._next("job events") or ())

    def newest(self) -> str | None:
        """Return the job that was opened last."""
        found = self._next("job newest")
        return None if found is None else str(found)

    def taken(self, job: str) -> bool:
        """Say whether there is a job of this name."""
        return bool(self._next("job taken"))

    def take(self, ask: JobOpen) -> Opened:
        """Return what a job was opened with; raises ``Refused`` where it was."""
        found = self._next("job opened with") or {"code": "failed", "text": "not in the capture"}
        if "code" in found:
            raise Refused(found["code"], found["text"])
        return OPENED.validate_python(found)

    def brief(self, opened: Opened) -> Brief:
        """Return what a job is held against."""
        return brief_of(opened)
