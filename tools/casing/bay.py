"""A bay with one or two simulated heads in simulated time, all of whose inputs go into a capture.

Heads, rig and technician are the simulator's; what listens is the service's own workings. So a
minute of a workshop takes a second, and its capture is one that ``levelhead replay`` plays.
"""

import itertools
import json
import time
from collections.abc import Callable
from dataclasses import dataclass

from calibration.records.text import dump_record
from ingest.capture.writer import CaptureWriter
from ingest.commands.demo_rig import DemoRig, build, record_of
from ingest.core.errors import LinkError
from ingest.core.frames import Side
from ingest.core.ids import HeadName, MonotonicNs
from ingest.core.ports import LinkForm
from ingest.core.units import NS
from ingest.payload.cmd import Request, read_command
from ingest.payload.topics import Topics
from ingest.service.inputs import Arrived, Asked, Began, Introduced, LinkIs, Moment, Second
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.transcript import NotingNames, NotingRecords, Transcript
from ingest.service.workings import Workings, WorkSettings
from ingest.simulator.draws import draw_calibration
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

RATE_HZ = 50.0
TICK_S = 0.25
VEHICLE = "rigid-8x4"
AXLE = 1
ON = {"alder": WheelAt(AXLE, Side.LEFT), "birch": WheelAt(AXLE, Side.RIGHT)}
"""Which head goes on which wheel."""


@dataclass
class Clock:
    """Simulated time, seconds."""

    now_s: float = 0.0

    def __call__(self) -> float:
        return self.now_s


class Heard:
    """An outlet that keeps the answers to requests; what is published is the replay's affair."""

    def __init__(self) -> None:
        self.answers: list[dict[str, object]] = []

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Say nothing."""

    def reply(self, request: Request, payload: bytes) -> None:
        """Keep an answer."""
        self.answers.append(json.loads(payload))


class CapturedBay:
    """Heads, a technician and the workings, driven by one clock and noted in ``writer``.

    ``names``: which heads are plugged in. ``alter`` changes them before their calibration is
    drawn.
    """

    def __init__(
        self,
        writer: CaptureWriter,
        seed: int,
        names: tuple[str, ...],
        alter: Callable[[DemoRig], None] | None = None,
    ) -> None:
        self.names = names
        self.clock = Clock()
        self.demo = build(seed, VEHICLE, self.clock, RATE_HZ)
        if alter is not None:
            alter(self.demo)
        self._wall_ns = time.time_ns()  # calibration records are issued by the host's date
        self._seconds = 0
        self._ids = itertools.count(1)
        self._sent: list[tuple[str, bytes]] = []
        self.unplugged: set[str] = set()
        self._transcript = Transcript(writer)
        self._heard = Heard()
        self._workings = self._make(seed)
        self._take(Introduced("online", ""))
        self._take(Began())
        for name in names:
            self.open(name, 0)
            self.give(name, self.demo.ptys[name].firmware.boot(self.clock()))
        self.advance(0.5)

    def _make(self, seed: int) -> Workings:
        work, topics = WorkSettings(pings=True), Topics("sim")
        forms = dict.fromkeys(self.names, LinkForm.STREAM)
        self._transcript.open(self._moment(), topics.bay, "b-1", work, forms)
        store = open_database(":memory:")
        names, records = StoredHeadNames(store), StoredRecords(store)
        heads = self.demo.heads
        for number, name in enumerate(self.names, start=1):
            known = draw_calibration(seed, name, heads[name])
            records.add(dump_record(record_of(number, known)), "simulated bench")
            names.set_name(heads[name].design.head, HeadName(name))
        return Workings(
            work,
            topics,
            forms,
            self._heard,
            self,
            names=NotingNames(names, self._transcript),
            records=NotingRecords(records, self._transcript),
            boot="b-1",
        )

    def open(self, name: str, reconnects: int) -> None:
        """Let a head's link open."""
        self.unplugged.discard(name)
        self._take(LinkIs(name, LinkChange(LinkState.OPEN, None), reconnects))

    def unplug(self, name: str, error: LinkError) -> None:
        """Pull a head's cable."""
        self.unplugged.add(name)
        self._take(LinkIs(name, LinkChange(LinkState.ABSENT, error), 0))

    def give(self, name: str, data: bytes) -> None:
        """Let bytes of a head arrive."""
        if data:
            self._take(Arrived(name, data))

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        end_s = self.clock.now_s + seconds
        while self.clock.now_s < end_s - 1e-9:
            self.clock.now_s = min(self.clock.now_s + TICK_S, end_s)
            for name in self.names:
                data = self.demo.ptys[name].firmware.run(self.clock())
                if name not in self.unplugged:
                    self.give(name, data)
            self._pass_on()
            if int(self.clock.now_s) > self._seconds:
                self._seconds = int(self.clock.now_s)
                self._take(Second(dict.fromkeys(self.names, 0)))

    def ask(self, command: str, head: str, **fields: object) -> dict[str, object]:
        """Ask for something as a display does; return the answer."""
        said = {"id": f"case-{next(self._ids)}", "head": head} | fields
        before = len(self._heard.answers)
        request = read_command(command, json.dumps(said).encode())
        self._take(Asked(Request(command, request, "levelhead/v1/sim/reply/case", None)))
        if len(self._heard.answers) == before:
            self.advance(TICK_S)
        return self._heard.answers[-1]

    def send(self, link: str, data: bytes, command_id: int) -> None:
        """Send a command to a head, by and by."""
        self._sent.append((link, data))

    def ask_hello(self, link: str, command: bytes) -> None:
        """Have a head introduce itself, by and by."""
        self._sent.append((link, command))

    def heard(self, link: str, at_ns: MonotonicNs) -> None:
        """Nobody waits for a sign of life here."""

    def rest(self, link: str, until_ns: MonotonicNs) -> None:
        """Nothing gathers here."""

    def _pass_on(self) -> None:
        sent, self._sent = self._sent, []
        for name, data in sent:
            answer = self.demo.ptys[name].firmware.receive(b"\0" + data, self.clock())
            if name not in self.unplugged:
                self.give(name, answer)

    def _moment(self) -> Moment:
        at_ns = round(self.clock.now_s * NS)
        return Moment(MonotonicNs(NS + at_ns), self._wall_ns + at_ns)

    def _take(self, what: Arrived | Asked | Began | Introduced | LinkIs | Second) -> None:
        moment = self._moment()
        self._transcript.note(moment, what)
        self._workings.take(moment, what)
