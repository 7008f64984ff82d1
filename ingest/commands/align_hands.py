"""The hands at a simulated vehicle: they clamp heads on, turn wheels, and do what advice says."""

import asyncio
import contextlib
import time
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ingest.commands.align_ears import IN_TIME_S, Declined, Ears, StoryError
from ingest.commands.demo_plugs import Plugs
from ingest.commands.demo_rig import HEADS, DemoRig
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.payload.stamp import epoch_ms
from ingest.simulator.adjusting.advice import Unreadable
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.adjusting.hands import follow, sweep_goals
from ingest.simulator.practice import Practice
from ingest.simulator.taping import Tape
from ingest.simulator.technician import Step
from ingest.simulator.vehicle import WheelAt

ONLINE_S = 30.0
STOPS = 3
TURNS = 3
"""So often a wheel is turned whose turn is refused: whoever turns it is told to begin it again."""
PRESSES = 15
PRESS_S = 1.0
SWEEP_RAD = 20.2 * DEG


@dataclass(slots=True)
class Cost:
    """What an alignment took."""

    mountings: int = 0
    turned: list[tuple[int, str]] = field(default_factory=list)
    """Axle and sentence of each piece of advice that was followed."""


class Hands:
    """Touch the simulated vehicle, and say by MQTT what they do, as a technician would."""

    def __init__(
        self,
        demo: DemoRig,
        practice: Practice,
        plugs: Plugs,
        ears: Ears,
        random: np.random.Generator,
    ) -> None:
        self._demo = demo
        self._practice = practice
        self._plugs = plugs
        self._ears = ears
        self._tape = Tape(practice.vehicle, practice.pin_m, random)
        self._on: dict[WheelAt, str] = {}
        self._refused: list[str] = []
        self._turned: set[str] = set()
        """Heads whose wheel was turned since they were mounted."""
        self.cost = Cost()
        self.moved_ms: dict[int, int] = {}
        """When each axle was last moved, of those that were: what was read before tells nothing."""

    async def name_heads(self) -> str:
        """Wait for all heads and give them their names."""
        by_id = {head.design.head: name for name, head in self._demo.heads.items()}
        statuses = self._ears.statuses
        await self._ears.until(
            lambda: {s.hid for s in statuses.values() if s.state == "online"} >= set(by_id),
            ONLINE_S,
            "all heads online",
        )
        for name, status in list(statuses.items()):
            await self._ears.ask("name", head=name, name=by_id[HeadId(status.hid)])
        return f"heads online over {self._plugs.over}: {', '.join(HEADS)}"

    async def mount(self, axles: Collection[int], off: Collection[int]) -> str:
        """Take heads off some axles, and clamp those that are free to others."""
        for wheel, name in list(self._on.items()):
            if wheel.axle in off:
                del self._on[wheel]
                self._turned.discard(name)
                self._demo.technician.dismount(self._demo.heads[name])
                await self._ears.ask("unmount", head=name)
        carrying = {wheel.axle for wheel in self._on}
        wheels = [WheelAt(axle, side) for axle in axles if axle not in carrying for side in Side]
        free = [name for name in HEADS if name not in self._on.values()]
        fresh = dict(zip(wheels, free, strict=False))
        for wheel, name in fresh.items():
            self._on[wheel] = name
            step = self._demo.technician.mount(self._demo.heads[name], wheel)
            await self._ears.ask("wheel", head=name, axle=wheel.axle, side=wheel.side.value)
            await asyncio.sleep(step.wait_s / 3)
        self.cost.mountings += len(axles)
        return ", ".join(f"{name} at {wheel}" for wheel, name in fresh.items())

    async def take_off(self) -> None:
        """Take all heads off."""
        await self.mount((), {wheel.axle for wheel in self._on})

    async def turn(self, axles: Collection[int]) -> str:
        """Lift axles, turn their wheels, one side after the other, and let them down."""
        await self._wait(*(self._demo.technician.jack(axle) for axle in axles))
        for side in Side:
            wheels = [w for w in self._on if w.side is side and w.axle in axles]
            await asyncio.gather(*(self._turn(wheel, self._on[wheel]) for wheel in wheels))
        await self._wait(*(self._demo.technician.lower(axle) for axle in axles))
        self._moved(axles)
        turned = sum(wheel.axle in axles for wheel in self._on)
        again = "".join(f"; turned again: {why}" for why in self._refused)
        self._refused.clear()
        return f"run-out found at {turned} wheels{again}"

    @property
    def loosened(self) -> set[int]:
        """Axles on which a run-out that was found is taken back: a clamp is no longer as it was."""
        void = {name for name in self._turned if self._ears.runouts.get(name) == ""}
        return {wheel.axle for wheel, name in self._on.items() if name in void}

    async def turn_again(self) -> str:
        """Turn again where a clamp slipped, and settle. It sits firm where it slipped to."""
        axles = sorted(self.loosened)
        for name in (name for wheel, name in self._on.items() if wheel.axle in axles):
            self._turned.discard(name)
        await self.turn(axles)
        await self.settle(axles)
        return f"axle{'' if len(axles) == 1 else 's'} {', '.join(map(str, axles))}"

    async def tape(self) -> str:
        """Measure by tape what the task asks for."""
        said = []
        for line in filter(None, self._ears.job["guidance"]["lacks"].split("; ")):
            one, other = line.split("-")
            read_m = round(self._tape.read_m(one, other, self._demo.now_s()), 4)
            await self._ears.ask("job-tape", line=line, metres=read_m, u_mm=1.0)
            said.append(f"{line} {read_m:.4f} m")
        return ", ".join(said)

    async def sweep(self, axle: int) -> str:
        """Sweep the steering of an axle, to its stops where it has stop bolts."""
        await asyncio.sleep(2.5)
        stops = sweep_goals(self._practice.adjusters, axle) is not None
        await self._ears.ask("sweep-begin", axle=axle, stops=stops)
        await self.steer(axle, stops=stops)
        reply = await self._ears.ask("sweep-end", axle=axle)
        await asyncio.sleep(1.0)
        return reply.text

    async def steer(self, axle: int, *, stops: bool) -> str:
        """Steer an axle to one side and back, to the other and back; ``stops``: to its stops."""
        goals = sweep_goals(self._practice.adjusters, axle) if stops else None
        for step in self._demo.technician.sweep(axle, *(goals or (SWEEP_RAD,))):
            await asyncio.sleep(step.wait_s + 0.3)
        return f"axle {axle} is steered {'to its stops' if goals else 'to both sides'} and back"

    async def settle(self, axles: Collection[int]) -> None:
        """Jounce axles until they sit as they run."""
        steps = [self._demo.technician.jounce(axle) for axle in axles]
        self._moved(axles)
        await self._wait(*steps)

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

    async def _turn(self, wheel: WheelAt, name: str) -> None:
        """Turn one wheel, again where that is refused."""
        for tried in range(1, TURNS + 1):
            try:
                await self._turn_once(wheel, name)
                return
            except Declined as declined:
                if declined.code != "refused" or tried == TURNS:
                    raise
                self._refused.append(f"{wheel}: {declined.text}")

    async def _turn_once(self, wheel: WheelAt, name: str) -> None:
        """Turn one wheel; its partner across stands still meanwhile."""
        await self._ears.ask("turn-begin", head=name)
        if wheel.axle % 2 == 0 and wheel.side is Side.RIGHT:
            await self._wait(self._demo.technician.through(wheel))
        else:
            for step in self._demo.technician.stops(wheel, STOPS):
                await self._wait(step)
                await self._press(name)
        await self._ears.ask("turn-end", head=name)
        self._turned.add(name)

    async def _press(self, name: str) -> None:
        """Press the head's button until the stop is taken: a lost frame costs a second try."""
        pressed = self._ears.pressed
        for _ in range(PRESSES):
            pressed.pop(name, None)
            self._plugs.press(name)
            with contextlib.suppress(StoryError):  # the press itself may have been lost
                await self._ears.until(lambda: name in pressed, PRESS_S, "an answer")
            if pressed.get(name) == "stop-taken":
                return
            await asyncio.sleep(PRESS_S / 4)
        raise StoryError(f"the button of {name} took no stop: {pressed.get(name)}")

    def _moved(self, axles: Collection[int]) -> None:
        self.moved_ms |= dict.fromkeys(axles, epoch_ms(time.time_ns()))

    async def _wait(self, *steps: Step) -> None:
        await asyncio.sleep(max(step.wait_s for step in steps) + self._late_s())

    def _late_s(self) -> float:
        """Return how much longer to wait, so that a service that is late has seen what was done."""
        late_s = self._ears.late_s
        return late_s if late_s > IN_TIME_S else 0.0
