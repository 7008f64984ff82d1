"""What the demo's technician does, and what a display beside them hears and asks for."""

import asyncio
import contextlib
import time
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, field

from calibration.measured import Measured
from calibration.reporting import report
from calibration.units import Unit, degrees
from ingest.commands.demo_network import set_ups
from ingest.commands.demo_plugs import Plugs
from ingest.commands.demo_rig import HEADS, DemoRig
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.outputs.listener import Listener
from ingest.payload.axle import AxleResult
from ingest.payload.base import PayloadError
from ingest.payload.cmd import Reply
from ingest.payload.evt import Event
from ingest.payload.head import HeadStatus
from ingest.payload.stamp import epoch_ms
from ingest.payload.topics import Topics
from ingest.service.service import Service
from ingest.simulator.technician import Step
from ingest.simulator.vehicle import WheelAt

ONLINE_S = 30.0
RESULTS_S = 15.0
STOPS = 3
PUSHES = 4
PRESSES = 15
PRESS_S = 1.0

PUSH_M = 3.3
"""A little more than once round for wheels of half a metre."""
PUSHED_SET_UP = 1
"""The set-up that is compensated by a push of the vehicle: the first, since a push moves all
wheels, and with them what was read before. The others turn wheel by wheel."""

CAUTION = (
    "In a real bay: chock the wheels that stay down, lift only at the vehicle maker's points, "
    "onto stands, spring brakes as the maker says; chocks off for a push only, steering straight, "
    "nobody in front of or behind the wheels; follow local codes."
)


class StoryError(Exception):
    """The demo could not go on; the text says at which step."""


@dataclass(slots=True)
class Heard:
    """What a display has heard, and the unrounded results behind it."""

    results: dict[str, AxleResult] = field(default_factory=dict)
    measured: dict[str, Measured] = field(default_factory=dict)


class Story:
    """One run: heads moved along the vehicle, each wheel turned; those that stay tie set-ups.

    Everything is asked for over MQTT, as any display would; the technician only touches the
    simulated vehicle.
    """

    def __init__(
        self,
        demo: DemoRig,
        plugs: Plugs,
        service: Service,
        topics: Topics,
        listener: Listener,
        tell: Callable[[str], None],
    ) -> None:
        self._demo = demo
        self._plugs = plugs
        self._service = service
        self._topics = topics
        self._listener = listener
        self._tell = tell
        self._fresh: dict[str, AxleResult] = {}
        self._statuses: dict[str, HeadStatus] = {}
        self._pressed: dict[str, str] = {}
        self._news = asyncio.Event()
        self._lowered_ms = 0
        self._on: dict[WheelAt, str] = {}
        self.heard = Heard()

    def hear(self, topic: str, payload: bytes) -> None:
        """Take a message of the bay."""
        place = topic.removeprefix(f"{self._topics.root}/").split("/")
        try:
            if payload and place[0] in ("axle", "vehicle"):
                self._fresh[topic] = AxleResult.decode(payload)
            elif payload and place[0] == "head" and place[2] == "status":
                self._statuses[place[1]] = HeadStatus.decode(payload)
            elif payload and place[0] == "evt":
                event = Event.decode(payload)
                self._pressed[event.head or ""] = event.kind
        except PayloadError as error:
            self._tell(f"unreadable message on {topic}: {error}")
        self._news.set()

    async def _until(self, holds: Callable[[], bool], within_s: float, what: str) -> None:
        try:
            async with asyncio.timeout(within_s):
                while not holds():
                    self._news.clear()
                    await self._news.wait()
        except TimeoutError as error:
            raise StoryError(f"not within {within_s:g} s: {what}") from error

    async def run(self) -> None:
        """Do the whole vehicle."""
        await self._name_heads()
        for number, axles in enumerate(set_ups(self._demo.vehicle_name), start=1):
            await self._take_off(axles)
            await self._set_up(axles, pushed=number == PUSHED_SET_UP)
        await self._read_network()

    async def _name_heads(self) -> None:
        """Wait for all heads and give them their names."""
        by_id = {head.design.head: name for name, head in self._demo.heads.items()}
        statuses = self._statuses
        await self._until(
            lambda: {s.hid for s in statuses.values() if s.state == "online"} >= set(by_id),
            ONLINE_S,
            "all heads online",
        )
        for name, status in list(statuses.items()):
            await self._ask("name", head=name, name=by_id[HeadId(status.hid)])
        self._tell(f"heads online over {self._plugs.over}: {', '.join(HEADS)}")

    async def _set_up(self, axles: Sequence[int], *, pushed: bool) -> None:
        """Mount heads where there are none; compensate those."""
        fresh = [axle for axle in axles if axle not in {wheel.axle for wheel in self._on}]
        wheels = [WheelAt(axle, side) for axle in fresh for side in Side]
        free = [name for name in HEADS if name not in self._on.values()]
        on = dict(zip(wheels, free, strict=False))
        self._on |= on
        for wheel, name in on.items():
            step = self._demo.technician.mount(self._demo.heads[name], wheel)
            await self._ask("wheel", head=name, axle=wheel.axle, side=wheel.side.value)
            self._tell(f"{name} clamped to {wheel}")
            await asyncio.sleep(step.wait_s / 3)
        if pushed:
            await asyncio.sleep(step.wait_s)
            await self._push()
        else:
            await self._turn_all(fresh, on)
        await self._read(wheels)

    async def _turn_all(self, axles: list[int], on: dict[WheelAt, str]) -> None:
        """Lift the axles, turn their wheels, one side after the other, and let them down."""
        await self._wait(*(self._demo.technician.jack(axle) for axle in axles))
        for side in Side:
            same_side = [wheel for wheel in on if wheel.side is side]
            await asyncio.gather(*(self._turn(wheel, on[wheel]) for wheel in same_side))
        self._lowered_ms = epoch_ms(time.time_ns())
        await self._wait(*(self._demo.technician.lower(axle) for axle in axles))

    async def _push(self) -> None:
        """Push the vehicle until every head is compensated, and back to where it stood."""
        away_m = 0.0
        for _ in range(PUSHES):
            way_m = PUSH_M if away_m == 0.0 else -PUSH_M
            self._tell((await self._ask("push-begin")).text)
            self._lowered_ms = epoch_ms(time.time_ns())
            await self._wait(self._demo.technician.push(way_m))
            away_m += way_m
            reply = await self._ask("push-end")
            self._tell(f"pushed {abs(way_m):g} m: {reply.text}")
            if reply.code == "ok":
                break
        if away_m:
            self._lowered_ms = epoch_ms(time.time_ns())
            await self._wait(self._demo.technician.push(-away_m))
            self._tell("pushed back to where it stood")

    async def _take_off(self, axles: Sequence[int]) -> None:
        """Take heads off that are on none of these axles."""
        for wheel, name in list(self._on.items()):
            if wheel.axle not in axles:
                del self._on[wheel]
                self._demo.technician.dismount(self._demo.heads[name])
                await self._ask("unmount", head=name)

    async def _turn(self, wheel: WheelAt, name: str) -> None:
        """Turn one wheel; its partner across stands still meanwhile."""
        begun = await self._ask("turn-begin", head=name)
        if wheel.axle % 2 == 0 and wheel.side is Side.RIGHT:
            await self._wait(self._demo.technician.through(wheel))
            how = "turned through"
        else:
            for step in self._demo.technician.stops(wheel, STOPS):
                await self._wait(step)
                await self._press(name)
            how = f"{STOPS} stops and back"
        assert begun.ok
        reply = await self._ask("turn-end", head=name)
        self._tell(f"{wheel} {how}: {reply.text}")

    async def _press(self, name: str) -> None:
        """Press the head's button until the stop is taken: a lost frame costs a second try."""
        for _ in range(PRESSES):
            self._pressed.pop(name, None)
            self._plugs.press(name)
            with contextlib.suppress(StoryError):  # the press itself may have been lost
                await self._until(lambda: name in self._pressed, PRESS_S, "an answer")
            if self._pressed.get(name) == "stop-taken":
                return
            await asyncio.sleep(PRESS_S)
        raise StoryError(f"the button of {name} took no stop: {self._pressed.get(name)}")

    async def _read(self, wheels: list[WheelAt]) -> None:
        """Wait until the settled wheels' results are in; keep them."""
        await asyncio.sleep(0.2)
        wanted = {self._topics.axle(w.axle, w.side.value, "camber") for w in wheels}
        await self._until(lambda: all(map(self._stands, wanted)), RESULTS_S, "settled results")
        await asyncio.sleep(1.2)  # toe wants both wheels at rest over the same time
        await self._until(
            lambda: self._abreast(wanted), RESULTS_S, "the results that stand, published"
        )
        self._keep(self._service.bay.work.results.standing, wanted)
        axles = " and ".join(f"axle {axle}" for axle in sorted({w.axle for w in wheels}))
        self._tell(f"{axles}: settled on the plates and read")

    async def _read_network(self) -> None:
        """Wait until all that the networks tell was heard; keep it."""
        network = self._service.bay.network
        await self._until(
            lambda: all(self._told(t, m) for t, m in network.standing.items()),
            RESULTS_S,
            "the network's results, published",
        )
        standing = network.standing
        self._keep(standing, set(standing))
        for text in self._service.bay.alerts.active.values():
            self._tell(text)

    def _keep(self, standing: Mapping[str, Measured], wanted: Set[str]) -> None:
        for topic in wanted & set(standing):
            self.heard.results[topic] = self._fresh[topic]
            self.heard.measured[topic] = standing[topic]

    def _stands(self, topic: str) -> bool:
        """Tell whether a result was heard of the wheel on its plates: it had one hanging, too."""
        result = self._fresh.get(topic)
        return (
            result is not None
            and result.q in ("good", "uncertain")
            and result.ms >= self._lowered_ms
        )

    def _abreast(self, wanted: Set[str]) -> bool:
        """Tell whether the listener is abreast: else the table would show what was before."""
        standing = self._service.bay.work.results.standing
        return all(
            topic in standing and self._stands(topic) and self._told(topic, standing[topic])
            for topic in wanted
        )

    def _told(self, topic: str, measured: Measured) -> bool:
        """Tell whether this is what was heard last of a topic."""
        fresh = self._fresh.get(topic)
        if fresh is None:
            return False
        in_mm = fresh.qty == "lateral-offset"
        shown = (
            report(measured * 1e3, Unit.MILLIMETRE)
            if in_mm
            else report(degrees(measured), Unit.DEGREE)
        )
        return fresh.text == shown.text and fresh.q in ("good", "uncertain")

    async def _wait(self, *steps: Step) -> None:
        await asyncio.sleep(max(step.wait_s for step in steps))

    async def _ask(self, command: str, /, **fields: object) -> Reply:
        try:
            reply = await self._listener.ask(command, **fields)
        except TimeoutError as error:
            raise StoryError(f"no reply to {command} {fields}") from error
        if not reply.ok:
            raise StoryError(f"{command} {fields}: {reply.code}: {reply.text}")
        return reply
