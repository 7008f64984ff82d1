"""The hands at a simulated vehicle: they clamp heads on, turn wheels, and do what advice says."""

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from ingest.commands.align_ears import Declined, Ears, StoryError
from ingest.commands.align_turns import BEGIN_AGAIN, Turns
from ingest.commands.demo_plugs import Plugs
from ingest.commands.demo_rig import DemoRig
from ingest.core.units import DEG
from ingest.simulator.adjusting.advice import Unreadable
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.adjusting.hands import follow, sweep_goals
from ingest.simulator.practice import Practice
from ingest.simulator.taping import Tape
from ingest.simulator.technician import Step

SWEEP_RAD = 20.2 * DEG
REST_S = 2.5
"""So long wheels are let rest before they are swept."""
WAITS_S = 20.0
"""A soft suspension takes its time to come to rest."""
SWEEPS = 3
"""So often an axle is swept whose sweep broke off: whoever sweeps it is told to begin it again."""
SWEPT_ON = (*BEGIN_AGAIN, "not-sweeping", "already-sweeping")


class Hands(Turns):
    """Touch the simulated vehicle, and say by MQTT what they do, as a technician would."""

    def __init__(
        self,
        demo: DemoRig,
        practice: Practice,
        plugs: Plugs,
        ears: Ears,
        random: np.random.Generator,
        *,
        wall_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        super().__init__(demo, plugs, ears, wall_ns=wall_ns)
        self._practice = practice
        self._random = random

    async def tape(self) -> str:
        """Measure by tape what the task asks for."""
        tape, said = Tape(self._practice.vehicle, self._practice.pin_m, self._random), []
        for line in filter(None, self._ears.job["guidance"]["lacks"].split("; ")):
            one, _, other = line.partition("-")
            try:
                read_m = round(tape.read_m(one, other, self._demo.now_s()), 4)
            except NotAtHand as error:
                raise StoryError(f"tape {line}: {error}") from error
            await self._ears.ask("job-tape", line=line, metres=read_m, u_mm=1.0)
            said.append(f"{line} {read_m:.4f} m")
        return ", ".join(said)

    async def sweep(self, axle: int) -> str:
        """Sweep the steering of an axle, to its stops where it has stop bolts.

        Again where that broke off.
        """
        for tried in range(1, SWEEPS + 1):
            try:
                said = await self._sweep_once(axle)
                return f"{said}{self._begun_again('swept')}"
            except Declined as declined:
                if declined.code not in SWEPT_ON or tried == SWEEPS:
                    raise
                self._refused.append(f"axle {axle}: {declined.text}")
                await self._leave_sweep(axle)
        raise AssertionError("the last try returns or raises")

    async def _sweep_once(self, axle: int) -> str:
        await asyncio.sleep(REST_S)
        with contextlib.suppress(StoryError):  # what it waits for then, the refusal says
            await self._ears.until(lambda: not self._waits(), WAITS_S, "rest")
        stops = sweep_goals(self._practice.adjusters, axle) is not None
        await self._ears.ask("sweep-begin", axle=axle, stops=stops)
        await self.steer(axle, stops=stops)
        reply = await self._ears.ask("sweep-end", axle=axle)
        await asyncio.sleep(1.0)
        return reply.text

    def _waits(self) -> str:
        """Return what a sweep would be refused for now, as it is published."""
        return str(self._ears.job.get("guidance", {}).get("waits", ""))

    async def _leave_sweep(self, axle: int) -> None:
        """Have a sweep that cannot be finished ended; see to it that its heads are as they were."""
        await self._heard([name for wheel, name in self._on.items() if wheel.axle == axle])
        with contextlib.suppress(Declined):  # it is over already where the bay said so itself
            await self._ears.ask("sweep-end", axle=axle)
        if self.loosened:
            self._refused.append(await self.turn_again())

    async def steer(self, axle: int, *, stops: bool) -> str:
        """Steer an axle to one side and back, to the other and back; ``stops``: to its stops."""
        goals = sweep_goals(self._practice.adjusters, axle) if stops else None
        for step in self._demo.technician.sweep(axle, *(goals or (SWEEP_RAD,))):
            await asyncio.sleep(step.wait_s + 0.3)
        return f"axle {axle} is steered {'to its stops' if goals else 'to both sides'} and back"

    async def do_as_told(self, task: dict[str, Any], advice: str) -> bool:
        """Turn what advice says; say whether that was anything at all."""
        axle = int(task["axles"])
        before = len(self.cost.turned)
        try:
            for sentence, step in self._followed(axle, advice):
                self.cost.turned.append((axle, sentence))
                await asyncio.sleep(step.wait_s)
        except (Stuck, NotAtHand, Unreadable) as error:
            raise StoryError(f"{task['title']}: {error}") from error
        await self.settle([axle])
        return len(self.cost.turned) > before

    def _followed(self, axle: int, advice: str) -> Iterator[tuple[str, Step]]:
        for sentence in filter(None, advice.splitlines()):
            for step in follow(self._practice.adjusters, axle, [sentence]):
                yield sentence, step
