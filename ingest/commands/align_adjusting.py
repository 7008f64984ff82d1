"""Adjustments of a simulated vehicle: hands turn what is advised until the result is home."""

import asyncio
from typing import Any

from calibration.reporting import on_screen
from ingest.commands.align_asking import NOT_TOLD, READY_S, Asking, Teller
from ingest.commands.align_ears import Ears, NotInTime
from ingest.commands.align_hands import Hands
from ingest.payload.axle import AxleResult
from ingest.service.jobwork import JobWork

ADVICE_S = 10.0
"""Advice follows a result within a second or so; where there is none then, nothing is advised."""
TRIES = 4
"""So often an adjustment is tried before it is left as it is."""
BY_SWEEP = ("/caster", "/lock-angle")
"""Results of an adjustment that a sweep alone can tell."""
NEAR_ENOUGH = "as near as its parts bring it"


class Adjusting(Asking):
    """Adjusts by what is published alone."""

    def __init__(self, ears: Ears, hands: Hands, jobs: JobWork, tell: Teller, by: str) -> None:
        super().__init__(ears, hands, jobs, tell, by)
        self._best_u: dict[str, float] = {}
        self.tries: dict[str, int] = {}

    async def _adjust(self, task: dict[str, Any], *, asks: bool = True) -> tuple[str, str]:
        """Turn what the published advice says until the result is home; tell how it went."""
        topic, axle, told = task["results"], int(task["axles"]), []
        if any(name in topic for name in BY_SWEEP):
            return await self._adjust_by_sweep(task, asks=asks)
        for tried in range(TRIES + 1):
            said = await self._settled(task["task"], axle, topic)
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
            return told, NOT_TOLD if None in known else ""
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

        try:
            await self._until_at(task, holds, ADVICE_S, "advice")
        except NotInTime:
            return ""
        return str(self._ears.job["advice"]["text"])

    async def _settled(self, task: str, axle: int, topic: str) -> AxleResult:
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
        await self._until_at(task, holds, READY_S, f"{topic} settled")
        return results[topic]
