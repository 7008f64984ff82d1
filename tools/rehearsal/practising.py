"""A practice that leads by itself in simulated time: its story, hands and ears, and what befalls
them.

The event loop's clock is the bay's: who sleeps lets the bay's time pass, and nobody waits.
"""

import asyncio
import json
import selectors
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from typing import Any

from ingest.commands.align_ears import Ears
from ingest.commands.align_hands import Hands
from ingest.commands.align_story import Story
from ingest.commands.demo_plugs import Plugs
from ingest.commands.job_shop import Shop
from ingest.outputs.settings import BrokerSettings
from ingest.payload.cmd import Reply, Request, read_command
from ingest.service.jobview import LiveBayView
from ingest.service.jobwork import JobWork
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.requests import Requests
from ingest.simulator.practice import Trouble
from ingest.simulator.streams import stream
from ingest.store.database import open_database
from ingest.store.jobs import StoredJobs
from tools.rehearsal.bay import SimulatedBay

TICK_S = 0.25
"""So much time passes at once at most, where somebody waits."""
Befall = Callable[["Practising", dict[str, Any]], None]
"""Does something to a practice just before something is asked with these fields."""


class Loop(asyncio.SelectorEventLoop):
    """An event loop whose time is somebody else's."""

    def __init__(self, now_s: Callable[[], float], pass_by: Callable[[float], None]) -> None:
        self.time = now_s  # type: ignore[method-assign]
        super().__init__(_Waiting(pass_by))


class _Waiting(selectors.SelectSelector):
    def __init__(self, pass_by: Callable[[float], None]) -> None:
        super().__init__()
        self._pass_by = pass_by

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        assert timeout is not None, "whoever waits here waits for ever"
        if timeout > 0.0:
            self._pass_by(min(timeout, TICK_S))
        return super().select(0.0)


@dataclass
class Said:
    """What is told at the terminal."""

    lines: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    def begin(self, text: str) -> None:
        self.lines.append(text)

    def end(self, text: str) -> None:
        self.lines[-1] += f": {text}"

    def caution(self, text: str) -> None:
        self.cautions.append(text)


class Practising:
    """A simulated bay with a job's hands at it. ``befall``: by command, what comes before it."""

    def __init__(
        self,
        seed: int,
        vehicle: str,
        troubles: Collection[Trouble] = (),
        befall: dict[str, Befall] | None = None,
        rate_hz: float = 20.0,
        *,
        sweeps: bool = False,
    ) -> None:
        self.bay = SimulatedBay(seed, vehicle, rate_hz=rate_hz, troubles=troubles)
        self.vehicle, self.said, self._sweeps = vehicle, Said(), sweeps
        self._befall = befall or {}
        self._seed, self._heard, self._second_s = seed, 0, 0.0
        self.asked: Counter[str] = Counter()
        bay, connection = self.bay.bay, open_database(":memory:")
        announcer = self.bay.announcer
        view = LiveBayView(bay, announcer)
        jobs = StoredJobs(connection)
        self.jobs = JobWork(jobs, Shop(connection), view, announcer, bay.alerts)
        announcer.verdicts = self.jobs.verdicts
        self.jobs.take_up()
        self._replies: list[bytes] = []
        self._requests = Requests(
            bay, announcer, self.bay.clock.ns, self._answered, _nobody, self.jobs
        )

    def lead(self, limits: str = "general") -> list[str]:
        """Lead a whole job; return what was told, a line a task."""
        loop = lambda: Loop(self.bay.clock, self._pass_by)  # noqa: E731
        with asyncio.Runner(loop_factory=loop) as runner:
            runner.run(self._lead(limits))
        return self.said.lines

    async def _lead(self, limits: str) -> None:
        bay = self.bay
        assert bay.practice is not None
        self.ears = Ears(BrokerSettings(), bay.topics, wall_ns=bay._wall)
        self.ears._listener = self  # type: ignore[assignment]
        self._hand_over()
        self.hands = Hands(
            bay.demo,
            bay.practice,
            Plugs([], bay.press, "nothing"),
            self.ears,
            stream(self._seed, "tapes"),
            wall_ns=bay._wall,
        )
        story = Story(self.ears, self.hands, self.jobs, self.said, "rehearsal")
        await story.lead(self.vehicle, limits, "R-1", sweeps=self._sweeps, why="no plates")

    async def ask(self, name: str, /, **fields: Any) -> Reply:
        """Ask as a display does: the answer comes first, then what it brought about."""
        if name in self._befall:
            self._befall[name](self, fields)
        reply = self.ask_at_once(name, **fields)
        self._hand_over()
        return reply

    def ask_at_once(self, name: str, /, **fields: Any) -> Reply:
        """Ask as somebody else; nobody hears of it yet."""
        self.asked[name] += 1
        asked = {"id": f"r-{self.asked.total()}", **fields}
        command = read_command(name, json.dumps(asked).encode())
        reply_topic = self.bay.topics.reply("rehearsal")
        self._requests.carry_out(Request(name, command, reply_topic, None))
        return Reply.decode(self._replies.pop())

    def lose(self, name: str, in_s: float, for_s: float) -> None:
        """Let a head's link be lost by and by, and come back as it was."""
        loop = asyncio.get_running_loop()
        loop.call_later(in_s, self._link, name, LinkState.ABSENT)
        loop.call_later(in_s + for_s, self._link, name, LinkState.OPEN)

    def slip(self, name: str, in_s: float, angle_rad: float) -> None:
        """Let a clamp slip by and by."""
        head = self.bay.demo.heads[name]
        loop = asyncio.get_running_loop()
        loop.call_later(in_s, self.bay.demo.technician.slip, head, angle_rad)

    def _link(self, name: str, state: LinkState) -> None:
        lost = state is not LinkState.OPEN
        (self.bay.silent.add if lost else self.bay.silent.discard)(name)
        self.bay.bay.link_changed(name, LinkChange(state, None))
        self.jobs.watch()
        self._hand_over()

    def _pass_by(self, seconds: float) -> None:
        self.bay.advance(seconds)
        self.jobs.watch()
        self.jobs.live()
        now_s = self.bay.clock.now_s
        if now_s - self._second_s >= 1.0:
            self.bay.bay.tick(now_s - self._second_s)
            self._second_s = now_s
            self.jobs.tell()
        self._hand_over()

    def _hand_over(self) -> None:
        """Let what was said since be heard."""
        said = self.bay.outlet.messages
        while self._heard < len(said):
            topic, payload, _, _ = said[self._heard]
            self._heard += 1
            self.ears._hear(topic, payload, False)

    def _answered(self, _request: Request, payload: bytes) -> None:
        self._replies.append(payload)


def _nobody(*_: object) -> None:
    """Stand for a head that is asked to show itself: nobody looks."""
