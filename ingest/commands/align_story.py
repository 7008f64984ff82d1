"""An alignment of a simulated vehicle, task by task: hands do what is published, and no more.

Whoever leads the job asks for the rest: the story itself, or a person (``align_follow``).
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from ingest.commands.align_adjusting import NEAR_ENOUGH, Adjusting
from ingest.commands.align_asking import READY_S, Teller
from ingest.commands.align_ears import Ears, GoneOn
from ingest.commands.align_hands import Hands
from ingest.commands.align_table import decided
from ingest.job.course.intake import ITEMS
from ingest.job.course.readings import Reading
from ingest.service.jobwork import JobWork

READ_AGAIN = 5
"""So often in a row the step is read again, where the job had gone on to another."""


class Story(Adjusting):
    """One job, from the heads' names to its end."""

    def __init__(self, ears: Ears, hands: Hands, jobs: JobWork, tell: Teller, by: str) -> None:
        super().__init__(ears, hands, jobs, tell, by)
        self._warned: set[str] = set()
        self._named = False
        self.tasks = 0

    async def lead(self, vehicle: str, limits: str, order: str, *, sweeps: bool, why: str) -> None:
        """Do the whole job, by what is published alone. ``why``: the reason to leave sweeps out."""
        await self._name_heads()
        await self._ask("job-open", vehicle=vehicle, limits=limits, order=order)
        await self._ears.until(lambda: bool(self._ears.job["state"].get("job")), READY_S, "a job")
        self._cautions("")
        self._tell.begin(f"look the vehicle over, limits {limits}")
        for item in ITEMS:
            await self._ask("job-check", item=item.id, state="ok")
        self._tell.end(f"{len(ITEMS)} items in order")
        await self._ask("job-begin")
        await self._lead_on("" if sweeps else why)
        await self._ask("job-close")

    async def _lead_on(self, why: str) -> None:
        """Do what the steps say until all are done; read the step again where it had gone on."""
        in_a_row = 0
        while (task := await self._next()) is not None:
            try:
                await self._work(task, why=why)
                in_a_row = 0
            except GoneOn:
                in_a_row += 1
                if in_a_row > READ_AGAIN:
                    raise
                self._tell.end("the job has gone on meanwhile; the step is read again")

    async def _name_heads(self) -> None:
        if self._named:
            return
        self._named = True
        self._tell.begin("plug in")
        self._tell.end(await self._hands.name_heads())

    async def _next(self) -> dict[str, Any] | None:
        """Return the present task; None when all are done."""
        assert self._jobs.job is not None
        while (current := self._jobs.job.current) is not None:
            # Guidance is the last that is said of a task: cautions and the step are there before.
            # Where the job goes on while that is waited for, the next task is.
            there = self._at(current.id)
            holds = partial(self._said_or_over, there, current.id)
            await self._ears.until(holds, READY_S, current.title)
            if there():
                self.tasks += 1
                return dict(self._ears.job["step"])
        return None

    def _said_or_over(self, there: Callable[[], bool], task: str) -> bool:
        job = self._jobs.job
        return there() or job is None or job.current is None or job.current.id != task

    async def _work(self, task: dict[str, Any], *, why: str) -> None:
        """Do a task, or leave a sweep out with the reason ``why``."""
        if task["doing"] == "sweep" and why:
            self._tell.begin(task["title"])
            await self._ask("job-skip", task=task["task"], reason=why)
            self._tell.end(f"left out: {why}")
            return
        self._begin(task)
        before = self._found()
        said, note = await self._do(task)
        await self._finish(task, note)
        said = said or decided(r for t, r in self._found().items() if t not in before)
        self._tell.end(f"{said}{self._turned_again()}")

    def _begin(self, task: dict[str, Any]) -> None:
        self._cautions(task["task"])
        self._tell.begin(task["title"])

    def _cautions(self, task: str) -> None:
        """Tell the cautions that were published with a task, each once."""
        told = self._ears.job.get("caution", {})
        if told.get("task") == task:
            for line in filter(None, str(told.get("text", "")).splitlines()):
                if line not in self._warned:
                    self._warned.add(line)
                    self._tell.caution(line)

    def _found(self) -> Mapping[str, Reading]:
        return {} if self._jobs.job is None else self._jobs.job.found

    async def _do(self, task: dict[str, Any]) -> tuple[str, str]:
        """Do what a task says; return how it went, and the note to finish it with."""
        axles = [int(axle) for axle in task["axles"].split("+")]
        match task["doing"]:
            case "mount":
                off = [int(axle) for axle in task["off"].split("+") if axle]
                return await self._hands.mount(axles, off), ""
            case "tape":
                return await self._hands.tape(), ""
            case "turn":
                return await self._hands.turn(axles), ""
            case "sweep" | "resweep":
                said = await self._hands.sweep(axles[0])
                note = await self._ready(task)
                return said, NEAR_ENOUGH if task["doing"] == "resweep" else note
            case "settle":
                await self._hands.settle(axles)
            case "adjust":
                return await self._adjust(task)
            case "find" | "leave":
                note = await self._ready(task)
                return ("taken", NEAR_ENOUGH) if task["doing"] == "leave" else ("", note)
        return "done", ""
