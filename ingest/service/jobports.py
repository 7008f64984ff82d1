"""The sockets of the job: what it is held against, and what the bay knows."""

from collections.abc import Mapping, Sequence
from typing import Protocol

from calibration.measured import Measured
from ingest.job.brief.advising import SweptAdvice
from ingest.job.brief.standing import Standing
from ingest.job.course.acts import Plan
from ingest.job.course.events import LevelTaken, Opened, Taped
from ingest.job.course.job import Job
from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import Task
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.job_cmd import JobOpen
from ingest.service.adjusting import Followed
from ingest.service.headseen import HeadSeen


class Brief(Protocol):
    """What one job is held against: its vehicle and its limits."""

    @property
    def vehicle(self) -> str:
        """The vehicle's name, for people."""
        ...

    def target(self, task: Task) -> float | None:
        """Return where the result of an adjustment should be, rad or m; None where nobody says."""
        ...

    @property
    def of(self) -> Vehicle:
        """The vehicle."""
        ...

    def judged(self, topic: str, standing: Standing) -> Reading:
        """Return a result with its limit and its decision."""
        ...

    def advice(self, task: Task, measured: Measured) -> tuple[str, ...]:
        """Return what to turn in a task to bring its result home, in words."""
        ...

    def advice_by_sweep(self, task: Task, job: Job) -> SweptAdvice:
        """Return what to turn after the last sweep that the job has taken."""
        ...

    def stale(self, task: Task) -> tuple[str, ...]:
        """Return the topics that hold no longer once a task's adjuster is turned."""
        ...

    def plan(self, job: Job, cannot: tuple[str, ...]) -> Plan:
        """Lay the order of work down. Raises ``Refused``."""
        ...

    def again(self, job: Job) -> tuple[Task, ...]:
        """Return the tasks that measure what holds no longer."""
        ...


class JobShop(Protocol):
    """The vehicles and limits that there are."""

    def take(self, ask: JobOpen) -> Opened:
        """Return what a job is opened with. Raises ``Refused`` where it cannot be had."""
        ...

    def brief(self, opened: Opened) -> Brief:
        """Return what an opened job is held against, from its event alone."""
        ...


class BayView(Protocol):
    """What the bay knows that a job asks for."""

    @property
    def wheels(self) -> frozenset[tuple[int, str]]:
        """Wheels that carry a head that is heard, as axle and side."""
        ...

    @property
    def compensated(self) -> Mapping[tuple[int, str], RunoutTaken]:
        """The run-out of those whose head has it since it was mounted."""
        ...

    @property
    def standing(self) -> Mapping[str, Standing]:
        """Results that stand now, by topic below the bay."""
        ...

    @property
    def level(self) -> LevelTaken:
        """The level record that camber stands on."""
        ...

    def foretold(self, at: str, to: str) -> Measured | None:
        """Return the distance between two hubs, m, as the heads tell it; None where they cannot."""
        ...

    def follow(self, axle: int) -> Followed:
        """Return what an axle's results would be by the newest samples, at rest or not."""
        ...

    def sweep_lacks(self, axle: int) -> tuple[str, ...]:
        """Return what a sweep of an axle would be refused for if it were begun now, in few words;
        nothing while one goes on."""
        ...

    @property
    def simulated(self) -> bool:
        """Whether the heads are simulated."""
        ...

    def set_out(self, vehicle: Vehicle, tapes: Mapping[str, Taped]) -> None:
        """Let heads fill the networks of a vehicle. Raises ``NetworkFileError``."""
        ...

    def clear(self) -> None:
        """Clear what was said of axles before: it is of another vehicle."""
        ...

    @property
    def seen(self) -> Sequence[HeadSeen]:
        """Every head that is on a wheel, as it is seen now."""
        ...

    def knocked(self, axle: int, side: str) -> None:
        """Take note that the clamp of a head moved: its error is void."""
        ...

    def newest_ns(self, axle: int) -> int:
        """Return the time of the newest value of an axle's heads; 0 where there is none."""
        ...

    def being_turned(self, axles: tuple[int, ...]) -> None:
        """Take note that somebody may be turning at axles now."""
        ...

    def turned(self, axles: tuple[int, ...]) -> None:
        """Take note that something is turned at axles."""
        ...

    def anew(self, axles: tuple[int, ...], why: str) -> None:
        """Take note that work at axles is over: what was read meanwhile counts no longer.

        ``why`` is the code that it is stale by until it is read again.
        """
        ...
