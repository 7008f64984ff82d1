"""Heads in the technician's hands: named, clamped on, seated anew, taken off, and said by MQTT."""

import asyncio
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field

from ingest.commands.align_ears import IN_TIME_S, Ears
from ingest.commands.demo_plugs import Plugs
from ingest.commands.demo_rig import HEADS, DemoRig
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.payload.stamp import epoch_ms
from ingest.simulator.technician import Step
from ingest.simulator.vehicle import WheelAt

ONLINE_S = 30.0


@dataclass(slots=True)
class Cost:
    """What an alignment took."""

    mountings: int = 0
    seated_anew: int = 0
    """Clamps that were taken off the wheel that they slipped on, and clamped on again."""
    turned: list[tuple[int, str]] = field(default_factory=list)
    """Axle and sentence of each piece of advice that was followed."""


class Clamps:
    """Who sits on which wheel. ``wall_ns``: the clock that messages are stamped by."""

    def __init__(
        self,
        demo: DemoRig,
        plugs: Plugs,
        ears: Ears,
        *,
        wall_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self._demo = demo
        self._plugs = plugs
        self._ears = ears
        self._wall_ns = wall_ns
        self._on: dict[WheelAt, str] = {}
        self._turned: set[str] = set()
        """Heads whose wheel was turned since they were mounted."""
        self._slipped: set[str] = set()
        """Heads whose clamp slipped since they were mounted."""
        self._refused: list[str] = []
        """Why wheels were turned, or an axle was swept, once more."""
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
                await self._take_off(name)
        carrying = {wheel.axle for wheel in self._on}
        wheels = [WheelAt(axle, side) for axle in axles if axle not in carrying for side in Side]
        free = [name for name in HEADS if name not in self._on.values()]
        fresh = dict(zip(wheels, free, strict=False))
        for wheel, name in fresh.items():
            await self._clamp_on(name, wheel)
        self.cost.mountings += len(axles)
        return ", ".join(f"{name} at {wheel}" for wheel, name in fresh.items())

    async def take_off(self) -> None:
        """Take all heads off."""
        await self.mount((), {wheel.axle for wheel in self._on})

    @property
    def loosened(self) -> set[int]:
        """Axles on which a run-out that was found is taken back: a clamp is no longer as it was."""
        void = self._void
        return {wheel.axle for wheel, name in self._on.items() if name in void}

    @property
    def _void(self) -> set[str]:
        return {name for name in self._turned if self._ears.runouts.get(name) == ""}

    async def _seat_anew(self, name: str, wheel: WheelAt) -> None:
        """Look at a clamp that does not hold where it slipped to, and clamp it on again."""
        await self._take_off(name)
        await self._clamp_on(name, wheel)
        self.cost.seated_anew += 1

    async def _take_off(self, name: str) -> None:
        self._turned.discard(name)
        self._slipped.discard(name)
        step = self._demo.technician.dismount(self._demo.heads[name])
        await self._ears.ask("unmount", head=name)
        await self._wait(step)

    async def _clamp_on(self, name: str, wheel: WheelAt) -> None:
        self._on[wheel] = name
        step = self._demo.technician.mount(self._demo.heads[name], wheel)
        await self._ears.ask("wheel", head=name, axle=wheel.axle, side=wheel.side.value)
        await asyncio.sleep(step.wait_s / 3)

    def _moved(self, axles: Collection[int]) -> None:
        self.moved_ms |= dict.fromkeys(axles, epoch_ms(self._wall_ns()))

    async def _wait(self, *steps: Step) -> None:
        await asyncio.sleep(max(step.wait_s for step in steps) + self._late_s())

    def _late_s(self) -> float:
        """Return how much longer to wait, so that a service that is late has seen what was done."""
        late_s = self._ears.late_s
        return late_s if late_s > IN_TIME_S else 0.0
