"""A job on a simulated vehicle: hands do what the present task says, and turn what is advised.

Whoever leads the job asks for the rest: the practice itself, or a person at a display or terminal.
"""

import asyncio
import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ingest.commands.demo_plugs import Plugs
from ingest.commands.demo_rig import HEADS, DemoRig
from ingest.commands.demo_story import Story, StoryError
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.course.intake import ITEMS
from ingest.outputs.listener import Listener
from ingest.payload.topics import Topics
from ingest.service.service import Service
from ingest.simulator.adjusting.advice import Unreadable
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.adjusting.hands import follow, sweep_goals
from ingest.simulator.practice import Practice
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.truth_by_topic import truth_by_topic
from ingest.simulator.vehicle import WheelAt

READY_S = 60.0
TRIES = 4
"""So often an adjustment is tried before it is left as it is."""
NEAR_ENOUGH = "as near as its parts bring it"
BY_SWEEP = ("/caster", "/lock-angle")
"""Results of an adjustment that a sweep alone can tell."""
TAPE_SIGMA_M = 0.001
SWEEP_RAD = 20.2 * DEG


@dataclass(slots=True)
class Cost:
    """What a practice run took."""

    tasks: int = 0
    mountings: int = 0
    acts: int = 0
    """Things that were turned."""
    tries: dict[str, int] = field(default_factory=dict)
    late_ms: list[float] = field(default_factory=list)
    """How long after its newest sample each live value was heard, the filters' delay apart."""


class PracticeStory(Story):
    """Hands at a simulated vehicle, and where asked for, somebody who leads the job."""

    def __init__(
        self,
        demo: DemoRig,
        plugs: Plugs,
        service: Service,
        topics: Topics,
        listener: Listener,
        tell: Callable[[str], None],
        practice: Practice,
        random: np.random.Generator,
        *,
        sweeps: bool = False,
    ) -> None:
        super().__init__(demo, plugs, service, topics, listener, tell)
        self._practice = practice
        self._random = random
        self._job: dict[str, dict[str, Any]] = {}
        self.cost = Cost()
        self._sweeps = sweeps

    def hear(self, topic: str, payload: bytes) -> None:
        """Take a message of the bay."""
        below = topic.removeprefix(f"{self._topics.root}/")
        if below.startswith("job/"):
            leaf = below.removeprefix("job/")
            self._job[leaf] = json.loads(payload) if payload else {}
            if leaf == "live" and payload:
                live = self._job[leaf]
                self.cost.late_ms.append(time.time() * 1e3 - live["ms"] - live["lag_ms"])
            self._news.set()
        elif below != "evt/job":
            super().hear(topic, payload)

    async def lead(self, vehicle: str, limits: str, order: str) -> None:
        """Do the whole job, from its opening to its end, by what is published alone."""
        await self._name_heads()
        await self._ask("job-open", vehicle=vehicle, limits=limits, order=order, by="practice")
        for item in ITEMS:
            await self._ask("job-check", item=item.id, state="ok", by="practice")
        reply = await self._ask("job-begin", by="practice")
        self._tell(f"planned: {reply.text}")
        while (task := await self._next()) is not None:
            if task["doing"] == "sweep" and not self._sweeps:
                reason = "not asked for in this practice"
                await self._ask("job-skip", task=task["task"], reason=reason, by="practice")
                continue
            note = await self._do(task)
            await self._ask("job-done", task=task["task"], note=note, by="practice")
        await self._ask("job-close", by="practice")
        self._tell("the job is closed")

    async def follow_lead(self) -> None:
        """Do what the tasks say that somebody else leads through, until the job is over."""
        await self._name_heads()
        done: set[str] = set()
        while True:
            await self._until(lambda: self._over() or self._fresh_task(done), 86_400.0, "a job")
            if self._over():
                return
            task = dict(self._job["step"])
            if task["doing"] != "adjust":
                done.add(task["task"])
                await self._do(task)
                self._tell(f"{task['task']} {task['title']}: hands are done; say so")
            elif "job-adjust" not in str(self._job["guidance"].get("asks")):
                done.add(task["task"])
                await self._adjust(task, asks=False)
                self._tell(f"{task['task']}: turned as advised; look at the result")
            else:
                await asyncio.sleep(0.5)

    def truth(self) -> Mapping[str, float]:
        """Return what is true now, rad and m, by topic below the bay."""
        practice = self._practice
        now_s = self._demo.now_s()
        return truth_by_topic(practice.vehicle, practice.frames, now_s, practice.adjusters)

    def _over(self) -> bool:
        return self._job.get("state", {}).get("phase") == "over"

    def _fresh_task(self, done: set[str]) -> bool:
        task = self._job.get("step", {}).get("task")
        return bool(task) and task not in done

    async def _next(self) -> dict[str, Any] | None:
        """Return the present task; None when all are done."""
        state = self._service.jobs
        assert state is not None
        assert state.job is not None
        current = state.job.current
        if current is None:
            return None
        await self._until(
            lambda: self._job.get("step", {}).get("task") == current.id, READY_S, current.title
        )
        self.cost.tasks += 1
        return dict(self._job["step"])

    async def _do(self, task: dict[str, Any]) -> str:
        """Do what a task says; return the note to finish it with."""
        axles = [int(axle) for axle in task["axles"].split("+")]
        match task["doing"]:
            case "mount":
                off = [int(axle) for axle in task["off"].split("+") if axle]
                await self._mount(axles, off)
            case "tape":
                await self._tape()
            case "turn":
                on = {w: n for w, n in self._on.items() if w.axle in axles}
                await self._turn_all(axles, on)
            case "sweep" | "resweep":
                await self._sweep(axles[0])
                await self._ready(task)
                return NEAR_ENOUGH if task["doing"] == "resweep" else ""
            case "settle":
                await asyncio.sleep(1.0)
            case "adjust":
                return await self._adjust(task)
            case "find" | "leave":
                await self._ready(task)
                self._tell(f"{task['title']}: taken")
                return NEAR_ENOUGH if task["doing"] == "leave" else ""
        return ""

    async def _mount(self, axles: list[int], off: list[int]) -> None:
        stay = {wheel.axle for wheel in self._on} - set(off)
        await self._take_off(sorted(stay))
        free = [name for name in HEADS if name not in self._on.values()]
        wheels = [WheelAt(axle, side) for axle in axles for side in Side]
        for wheel, name in zip(wheels, free, strict=False):
            self._on[wheel] = name
            step = self._demo.technician.mount(self._demo.heads[name], wheel)
            await self._ask("wheel", head=name, axle=wheel.axle, side=wheel.side.value)
            self._tell(f"{name} clamped to {wheel}")
            await asyncio.sleep(step.wait_s / 3)
        self.cost.mountings += len(axles)

    async def _tape(self) -> None:
        vehicle = self._practice.vehicle
        wheels = vehicle_truth(vehicle, self._demo.now_s()).wheels
        place = {f"{w.side.value[0].upper()}{w.axle}": np.array(t.hub_m) for w, t in wheels.items()}
        pins = [frame.pin_m for frame in self._practice.frames if frame.pin_m is not None]
        place["P"] = np.array(pins[0]) @ vehicle.ramp.T
        lines = self._job["guidance"]["lacks"].split("; ")
        for line in [each for each in lines if each]:
            one, other = line.split("-")
            true_m = float(np.linalg.norm(place[one] - place[other]))
            read_m = round(true_m + TAPE_SIGMA_M * float(self._random.normal()), 4)
            await self._ask("job-tape", line=line, metres=read_m, u_mm=1.0, by="practice")
            self._tell(f"taped {line}: {read_m:.4f} m")

    async def _sweep(self, axle: int) -> None:
        await asyncio.sleep(2.5)
        goals = sweep_goals(self._practice.adjusters, axle)
        await self._ask("sweep-begin", axle=axle, stops=goals is not None)
        for step in self._demo.technician.sweep(axle, *(goals or (SWEEP_RAD,))):
            await asyncio.sleep(step.wait_s + 0.3)
        reply = await self._ask("sweep-end", axle=axle)
        self._tell(f"axle {axle} swept: {reply.text}")
        await asyncio.sleep(1.0)

    async def _ready(self, task: dict[str, Any]) -> None:
        def holds() -> bool:
            told = self._job.get("guidance", {})
            return told.get("task") == task["task"] and bool(told.get("ready"))

        try:
            await self._until(holds, READY_S, task["title"])
        except StoryError as error:
            raise StoryError(f"{error}; lacks {self._job['guidance'].get('lacks')}") from error

    async def _adjust(self, task: dict[str, Any], *, asks: bool = True) -> str:
        """Turn what the published advice says until the result is inside; tell how it went."""
        topic = task["results"]
        if any(name in topic for name in BY_SWEEP):
            return await self._adjust_by_sweep(task, asks=asks)
        for tried in range(TRIES):
            await self._settled(topic)
            said = self._fresh[f"{self._topics.root}/{topic}"]
            self._tell(f"{task['title']}: {said.text}, {said.dec}")
            if said.dec == "inside" or (said.dec == "none" and tried):
                return ""
            if asks and not tried:
                await self._ask("job-adjust", task=task["task"], by="practice")
            if not await self._turn_as_told(task):
                return NEAR_ENOUGH
            self.cost.tries[topic] = tried + 1
        await self._settled(topic)
        return NEAR_ENOUGH

    async def _adjust_by_sweep(self, task: dict[str, Any], *, asks: bool) -> str:
        """Turn once what is advised after the last sweep; the next one tells what came of it."""
        jobs = self._service.jobs
        assert jobs is not None
        assert jobs.job is not None
        told = [jobs.job.known_of(topic) for topic in task["results"].split("+")]
        decisions = {"none" if read is None else read.decision for read in told}
        self._tell(f"{task['title']}: {', '.join(sorted(decisions))}")
        if decisions == {"inside"} or None in told:
            return ""
        if asks:
            await self._ask("job-adjust", task=task["task"], by="practice")
        turned = await self._turn_as_told(task)
        self.cost.tries[task["results"]] = 1
        return "" if turned else NEAR_ENOUGH

    async def _settled(self, topic: str) -> None:
        """Wait until a result stands that was read after the vehicle was last moved."""
        jobs = self._service.jobs
        assert jobs is not None

        def holds() -> bool:
            standing, job = jobs.standing(topic), jobs.job
            assert job is not None
            full = f"{self._topics.root}/{topic}"
            heard = self._fresh.get(full)
            good = heard is not None and heard.q in ("good", "uncertain")
            return standing is not None and standing.at > job.moved_at and good

        await asyncio.sleep(1.5)
        for _ in range(int(READY_S)):
            if holds():
                return
            await asyncio.sleep(1.0)
        raise StoryError(f"{topic} does not settle")

    async def _turn_as_told(self, task: dict[str, Any]) -> bool:
        """Turn what is advised; say whether that was anything at all."""
        advice = self._job.get("advice", {})
        lines = [line for line in str(advice.get("text", "")).splitlines() if line]
        acts = self.cost.acts
        try:
            for step in follow(self._practice.adjusters, int(task["axles"]), lines):
                self._tell(f"  {step.what}")
                self.cost.acts += 1
                await asyncio.sleep(step.wait_s)
        except (Stuck, NotAtHand, Unreadable) as error:
            raise StoryError(f"{task['title']}: {error}") from error
        return self.cost.acts > acts
