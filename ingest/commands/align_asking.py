"""What whoever is beside a vehicle asks of its bay and waits for, one task at a time."""

import asyncio
from collections.abc import Callable
from typing import Any, Protocol

from ingest.commands.align_ears import Declined, Ears, GoneOn, NotInTime, StoryError
from ingest.commands.align_hands import Hands
from ingest.job.course.tasks import FINDS
from ingest.service.jobwork import JobWork

READY_S = 60.0
AGAIN = 3
"""So often wheels are turned again, while one thing is waited for, whose clamp slipped; and so
often a task is finished anew that was ready, and is not any more when that is asked for."""
RETRY_S = 2.0
UNREADY = ("not-ready", "not-settled", "not-found", "stale")
"""Codes of what is not ready just now."""
NOT_TOLD = "no sightline tells it today"


class Teller(Protocol):
    """Tells whoever watches."""

    def begin(self, text: str) -> None:
        """Say what begins."""

    def end(self, text: str) -> None:
        """Say on the same line how it went."""

    def caution(self, text: str) -> None:
        """Say a caution."""


class Asking:
    """Asks and waits. What it hears is a little old: the job may have gone on meanwhile."""

    def __init__(self, ears: Ears, hands: Hands, jobs: JobWork, tell: Teller, by: str) -> None:
        self._ears = ears
        self._hands = hands
        self._jobs = jobs
        self._tell = tell
        self._by = by
        self._again: list[str] = []

    async def _ask(self, command: str, **fields: object) -> None:
        """Ask for something. Raises ``GoneOn`` where the job is at another task by now."""
        try:
            await self._ears.ask(command, by=self._by, **fields)
        except Declined as declined:
            if declined.code == "out-of-order" and "task" in fields:
                raise GoneOn(str(declined)) from declined
            raise

    async def _finish(self, task: dict[str, Any], note: str) -> None:
        """Say that a task is done; where something came between, wait until it is ready again."""
        for tried in range(AGAIN + 1):
            try:
                await self._ask("job-done", task=task["task"], note=note)
                return
            except Declined as declined:
                if declined.code not in UNREADY or tried == AGAIN:
                    raise
                await asyncio.sleep(RETRY_S)  # guidance says it, too, within a second
                note = await self._ready(task) or note

    async def _ready(self, task: dict[str, Any]) -> str:
        """Wait until a task can be finished; return the reason to finish it with where it cannot.

        What must be measured is refused all the same; what an adjustment needs is left as it is.
        """

        def holds() -> bool:
            told = self._ears.job.get("guidance", {})
            gone_on = told.get("task") != task["task"]  # whoever leads may be faster
            return gone_on or bool(told.get("ready"))

        try:
            await self._until(holds, READY_S, task["title"])
        except NotInTime as error:
            lacks = self._ears.job["guidance"].get("lacks")
            if task["doing"] not in FINDS:
                raise StoryError(f"{error}; lacks {lacks}") from error
            return NOT_TOLD
        return ""

    def _at(self, task: str) -> Callable[[], bool]:
        """Return what says whether the job, as far as heard, is at a task."""
        return lambda: all(
            self._ears.job.get(leaf, {}).get("task") == task for leaf in ("step", "guidance")
        )

    async def _until_at(
        self, task: str, holds: Callable[[], bool], within_s: float, what: str
    ) -> None:
        """Wait until something holds at a task. Raises ``GoneOn`` where the job goes on first."""
        at = self._at(task)
        await self._until(lambda: not at() or holds(), within_s, what)
        if not at():
            raise GoneOn(f"{what}: the job is not at {task} any more")

    async def _until(self, holds: Callable[[], bool], within_s: float, what: str) -> None:
        """Wait until something holds; where a clamp slips meanwhile, do as guidance says."""
        hands = self._hands
        for turned in range(AGAIN + 1):
            await self._ears.until(lambda: bool(hands.loosened) or holds(), within_s, what)
            if not hands.loosened:
                return
            if turned < AGAIN:
                self._again.append(await hands.turn_again())
        raise StoryError(f"{what}: a clamp slipped again after {AGAIN} further turns")

    def _turned_again(self) -> str:
        """Tell, once, what was done meanwhile about clamps that slipped."""
        again, self._again = self._again, []
        return "".join(f"; a clamp slipped, {done}" for done in again)
