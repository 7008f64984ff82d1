"""Hands that follow somebody else's lead: a person at a display or a terminal leads the job."""

from functools import partial
from typing import Any

from ingest.commands.align_ears import StoryError
from ingest.commands.align_story import Story

LEADS_S = 86_400.0
OPEN = ("intake", "work")


class Following(Story):
    """One job after the other, as somebody else leads through it."""

    async def follow_lead(self) -> None:
        """Do what the tasks say that somebody else leads through, until the job is over."""
        await self._name_heads()
        await self._ears.until(lambda: self._phase() in OPEN, LEADS_S, "a job")
        self._best_u.clear()
        done = ""
        while True:
            await self._ears.until(partial(self._news_since, done), LEADS_S, "a task")
            if self._over():
                return
            task, done = dict(self._ears.job["step"]), self._wanted()
            self.tasks += 1
            self._begin(task)
            try:
                said = await self._lend_a_hand(task)
            except StoryError as error:
                # Whoever leads may have gone on already, or left it out: that ends no practice.
                self._tell.end(str(error))
                continue
            self._tell.end(f"{said}{self._turned_again()}; hands are done, say so")

    async def _lend_a_hand(self, task: dict[str, Any]) -> str:
        """Do what a task wants of hands; whoever leads asks for the rest."""
        axle = int(task["axles"].split("+")[0])
        match task["doing"]:
            case "adjust":
                said, _ = await self._adjust(task, asks=False)
            case "sweep" | "resweep":
                said = await self._hands.steer(axle, stops=self._ears.to_stops.get(axle, False))
            case _:
                said, _ = await self._do(task)
        return said

    def _phase(self) -> str:
        return str(self._ears.job.get("state", {}).get("phase", ""))

    def _over(self) -> bool:
        return self._phase() == "over"

    def _wanted(self) -> str:
        """Return a name of what hands are wanted for now; "" where there is nothing."""
        step, told = self._ears.job.get("step", {}), self._ears.job.get("guidance", {})
        task = str(step.get("task", ""))
        if not task or told.get("task") != task:
            return ""
        match step["doing"]:
            case "adjust" if "job-adjust" in str(told.get("asks")):
                return ""  # until whoever leads says that it is turned at
            case "sweep" | "resweep":  # as often as whoever leads begins one
                begun = self._ears.sweeping(int(step["axles"]))
                return f"{task} {begun}" if begun else ""
        return task

    def _news_since(self, done: str) -> bool:
        return self._over() or self._wanted() not in ("", done)
