"""A job's work on a bay that is made up: what it publishes is kept, what it asks is answered."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.measured import Measured
from ingest.job.brief.advising import SweptAdvice
from ingest.job.brief.standing import Standing
from ingest.job.course.acts import NO_LEVEL, Plan, Refused
from ingest.job.course.events import LevelTaken, Opened, Taped
from ingest.job.course.job import Job
from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import Task
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.cmd import read_command
from ingest.payload.job_cmd import JobCommand, JobOpen
from ingest.payload.topics import Topics
from ingest.service.adjusting import Followed
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.done import Done
from ingest.service.headseen import HeadSeen
from ingest.service.jobports import Brief
from ingest.service.jobwork import JobWork
from ingest.store.jobs import StoredJobs
from tests.job.course.playing import COMPENSATED, HEADING_4, OPENED, TASKS, TOE_1, WHEELS, reading
from tests.job.vehicles import vehicle

START_NS = 1_800_000_000_000_000_000
TICK_NS = 10**9


VEHICLE = vehicle("rigid-8x4")


class FakeBrief:
    """Holds any result for inside, and plans the one job that there is."""

    vehicle = "Pellowmere 17"
    of = VEHICLE

    def judged(self, topic: str, standing: Standing) -> Reading:
        return reading(topic, standing.at)

    def advice(self, task: Task, measured: Measured) -> tuple[str, ...]:
        return ("Left arm: 1.5 turns longer.",)

    def advice_by_sweep(self, task: Task, job: Job) -> SweptAdvice:
        return SweptAdvice()

    def stale(self, task: Task) -> tuple[str, ...]:
        return task.topics

    def target(self, task: Task) -> float | None:
        return 0.0

    def again(self, job: Job) -> tuple[Task, ...]:
        return ()

    def plan(self, job: Job, cannot: tuple[str, ...]) -> Plan:
        return Plan(tuple(t for t in TASKS if t.id not in job.marks), 2)


class FakeShop:
    """Has one vehicle."""

    def take(self, ask: JobOpen) -> Opened:
        if ask.vehicle != "pellowmere-17":
            raise Refused("unknown-vehicle", f"no vehicle {ask.vehicle}")
        return OPENED

    def brief(self, opened: Opened) -> Brief:
        return FakeBrief()


@dataclass
class FakeView:
    """A bay in which all is as it should be, read this very moment."""

    at: str = ""
    wheels: frozenset[tuple[int, str]] = WHEELS
    compensated: Mapping[tuple[int, str], RunoutTaken] = field(default_factory=lambda: COMPENSATED)
    level: LevelTaken = NO_LEVEL
    simulated: bool = False
    done: list[str] = field(default_factory=list)

    seen: tuple[HeadSeen, ...] = ()
    newest: int = 0
    lacks: tuple[str, ...] = ()

    def knocked(self, axle: int, side: str) -> None:
        self.done.append(f"knocked {axle} {side}")

    def newest_ns(self, axle: int) -> int:
        return self.newest

    def being_turned(self, axles: tuple[int, ...]) -> None:
        pass

    def sweep_lacks(self, axle: int) -> tuple[str, ...]:
        return self.lacks

    def foretold(self, at: str, to: str) -> Measured | None:
        return Measured.of(6.571, 0.002, source="network")

    def follow(self, axle: int) -> Followed:
        return Followed({t: s.measured for t, s in self.standing.items()}, True, 75.0, 0)

    def set_out(self, vehicle: Vehicle, tapes: Mapping[str, Taped]) -> None:
        self.done.append(f"set out {vehicle.id} {sorted(tapes)}")

    def clear(self) -> None:
        self.done.append("clear")

    def turned(self, axles: tuple[int, ...]) -> None:
        self.done.append(f"turned {axles}")

    def anew(self, axles: tuple[int, ...], why: str) -> None:
        self.done.append(f"anew {axles} {why}")

    @property
    def standing(self) -> dict[str, Standing]:
        measured = Measured.of(0.001, 0.0002, source="noise")
        stood = Standing(measured, True, self.at, "good", "", (("alder", "cal-1"),))
        return {HEADING_4: stood, TOE_1: stood}


@dataclass
class JobRig:
    """One start of a service over a store."""

    connection: sqlite3.Connection
    people: tuple[str, ...] = ()
    now_ns: int = START_NS
    said: list[tuple[str, dict[str, object]]] = field(default_factory=list)
    view: FakeView = field(default_factory=FakeView)
    asked: int = 0
    boot: str = "b-1"

    def __post_init__(self) -> None:
        topics = Topics("bay1")
        announcer = Announcer(topics, self, lambda: self.now_ns, lambda: self.now_ns, self.boot)
        self.store = StoredJobs(self.connection)
        alerts = Alerts(announcer)
        self.work = JobWork(self.store, FakeShop(), self.view, announcer, alerts, self.people)
        self.work.take_up()

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        told = json.loads(payload) if payload else {}
        self.said.append((topic.removeprefix("levelhead/v1/bay1/"), told))

    def ask(
        self,
        name: str,
        client: str = "ines",
        id_: str = "",
        user: str | None = None,
        **fields: object,
    ) -> Done:
        """Ask for something, a second after what was asked before."""
        self.asked += 1
        self.now_ns += TICK_NS
        self.view.at = f"2027-12-31T{self.asked // 3600:02d}:00:00.000000000Z"
        request = {"id": id_ or f"{self.boot}-{self.asked}", **fields}
        command = read_command(name, json.dumps(request).encode())
        assert isinstance(command, JobCommand)
        return self.work.carry_out(client, command, user)

    def last(self, topic: str) -> dict[str, object]:
        """Return what was said last on a topic."""
        return next(message for said, message in reversed(self.said) if said == topic)

    def go_on(self) -> bool:
        """Do the next thing that there is to do, as guidance says; False when the job is over."""
        state, guidance = self.last("job/state"), self.last("job/guidance")
        wanted = str(guidance["asks"]).split("+")[0]
        match wanted:
            case "job-open":
                if state["phase"] == "over":
                    return False
                fields = {"vehicle": "pellowmere-17", "limits": "invented", "order": "W-118"}
                done = self.ask("job-open", **fields)
            case "job-check":
                done = self.ask("job-check", item=guidance["item"], state="ok")
            case "job-begin" | "job-close":
                done = self.ask(wanted)
            case _:
                done = self.ask(wanted, task=guidance["task"])
        assert done.ok, done.text
        return True
