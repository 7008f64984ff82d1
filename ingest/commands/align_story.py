"""An alignment of a simulated vehicle, task by task: hands do what is published, and no more.

Whoever leads the job asks for the rest: the story itself, or a person (``align_follow``).
"""

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from calibration.reporting import on_screen
from ingest.commands.align_ears import Ears, StoryError
from ingest.commands.align_hands import Hands
from ingest.commands.align_table import decided
from ingest.job.course.intake import ITEMS
from ingest.job.course.readings import Reading
from ingest.job.course.tasks import FINDS
from ingest.payload.axle import AxleResult
from ingest.service.jobwork import JobWork

READY_S = 60.0
ADVICE_S = 10.0
"""Advice follows a result within a second or so; where there is none then, nothing is advised."""
AGAIN = 3
"""So often wheels are turned again, while one thing is waited for, whose clamp slipped."""
TRIES = 4
"""So often an adjustment is tried before it is left as it is."""
BY_SWEEP = ("/caster", "/lock-angle")
"""Results of an adjustment that a sweep alone can tell."""
NOT_TOLD = "no sightline tells it today"
NEAR_ENOUGH = "as near as its parts bring it"


class Teller(Protocol):
    """Tells whoever watches."""

    def begin(self, text: str) -> None:
        """Say what begins."""

    def end(self, text: str) -> None:
        """Say on the same line how it went."""

    def caution(self, text: str) -> None:
        """Say a caution."""


class Story:
    """One job, from the heads' names to its end."""

    def __init__(self, ears: Ears, hands: Hands, jobs: JobWork, tell: Teller, by: str) -> None:
        self._ears = ears
        self._hands = hands
        self._jobs = jobs
        self._tell = tell
        self._by = by
        self._warned: set[str] = set()
        self._best_u: dict[str, float] = {}
        self._named = False
        self._again: list[str] = []
        self.tasks = 0
        self.tries: dict[str, int] = {}

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
        while (task := await self._next()) is not None:
            await self._work(task, why="" if sweeps else why)
        await self._ask("job-close")

    async def _ask(self, command: str, **fields: object) -> None:
        await self._ears.ask(command, by=self._by, **fields)

    async def _name_heads(self) -> None:
        if self._named:
            return
        self._named = True
        self._tell.begin("plug in")
        self._tell.end(await self._hands.name_heads())

    async def _next(self) -> dict[str, Any] | None:
        """Return the present task; None when all are done."""
        assert self._jobs.job is not None
        current = self._jobs.job.current
        if current is None:
            return None
        # Guidance is the last that is said of a task: cautions are there before it.
        await self._ears.until(
            lambda: self._ears.job.get("guidance", {}).get("task") == current.id,
            READY_S,
            current.title,
        )
        self.tasks += 1
        return dict(self._ears.job["step"])

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
        await self._ask("job-done", task=task["task"], note=note)
        said = said or decided(r for t, r in self._found().items() if t not in before)
        self._tell.end(f"{said}{self._turned_again()}")

    def _turned_again(self) -> str:
        """Tell, once, where wheels were turned again meanwhile."""
        again, self._again = self._again, []
        return "".join(f"; a clamp slipped, turned again: {axles}" for axles in again)

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
        except StoryError as error:
            lacks = self._ears.job["guidance"].get("lacks")
            if task["doing"] not in FINDS:
                raise StoryError(f"{error}; lacks {lacks}") from error
            return NOT_TOLD
        return ""

    async def _adjust(self, task: dict[str, Any], *, asks: bool = True) -> tuple[str, str]:
        """Turn what the published advice says until the result is home; tell how it went."""
        topic, axle, told = task["results"], int(task["axles"]), []
        if any(name in topic for name in BY_SWEEP):
            return await self._adjust_by_sweep(task, asks=asks)
        for tried in range(TRIES + 1):
            said = await self._settled(axle, topic)
            told.append(f"{on_screen(said.text)} {'no limit' if said.dec == 'none' else said.dec}")
            if said.dec == "inside" or (said.dec == "none" and tried):
                return ", then ".join(told), ""
            if tried == TRIES:
                break
            advice = await self._advice(task["task"], axle)
            if asks and not tried:
                await self._ask("job-adjust", task=task["task"])
            if not await self._hands.do_as_told(task, advice):
                break
            self.tries[topic] = tried + 1
        return f"{', then '.join(told)}, {NEAR_ENOUGH}", NEAR_ENOUGH

    async def _adjust_by_sweep(self, task: dict[str, Any], *, asks: bool) -> tuple[str, str]:
        """Turn once what is advised after the last sweep; the next one tells what came of it."""
        topics, axle = task["results"].split("+"), int(task["axles"])
        assert self._jobs.job is not None
        known = [self._jobs.job.known_of(topic) for topic in topics]
        decisions = {"none" if read is None else read.decision for read in known}
        words = ["no limit" if each == "none" else each for each in sorted(decisions)]
        told = f"by the last sweep {', '.join(words)}"
        if decisions == {"inside"} or None in known:
            return told, ""
        advice = await self._advice(task["task"], axle)
        if asks:
            await self._ask("job-adjust", task=task["task"])
        if not await self._hands.do_as_told(task, advice):
            return f"{told}, {NEAR_ENOUGH}", NEAR_ENOUGH
        self.tries |= dict.fromkeys(topics, 1)
        return f"{told}; the next sweep proves it", ""

    async def _advice(self, task: str, axle: int) -> str:
        """Return what is advised for a task since its axle was last moved; nothing in time: ""."""

        def holds() -> bool:
            told = self._ears.job.get("advice", {})
            since_ms = self._hands.moved_ms.get(axle, 0)
            return told.get("task") == task and bool(told.get("text")) and told["ms"] >= since_ms

        with contextlib.suppress(StoryError):
            await self._until(holds, ADVICE_S, "advice")
            return str(self._ears.job["advice"]["text"])
        return ""

    async def _settled(self, axle: int, topic: str) -> AxleResult:
        """Return a result that was read after the axle was last moved, known as well as before."""
        results, best_u = self._ears.results, self._best_u

        def holds() -> bool:
            heard = results.get(topic)
            if heard is None or heard.q not in ("good", "uncertain") or not heard.U:
                return False
            if heard.ms < self._hands.moved_ms.get(axle, 0):
                return False
            best_u[topic] = min(best_u.get(topic, heard.U), heard.U)
            return 2.0 * best_u[topic] >= heard.U

        await asyncio.sleep(1.0)
        await self._until(holds, READY_S, f"{topic} settled")
        return results[topic]

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
