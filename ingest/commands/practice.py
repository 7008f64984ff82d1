"""``levelhead practice``: a whole alignment on a simulated vehicle, with troubles to find.

The truth is told at the end, beside what was measured and what it took.
"""

import argparse
import asyncio
import contextlib
import functools
import logging
from collections.abc import AsyncIterator
from pathlib import Path

from rich.console import Console
from rich.table import Table

from calibration.reporting import on_screen
from ingest.commands.demo_plugs import on_ptys
from ingest.commands.demo_rig import DemoRig, build, wall_clock
from ingest.commands.demo_story import CAUTION, StoryError
from ingest.commands.host import HostSettings, running_broker, running_service
from ingest.commands.job_papers import write_report
from ingest.commands.job_shop import Shop
from ingest.commands.practice_story import PracticeStory
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import shipped, vehicle_called
from ingest.core.errors import InputError, OutputError
from ingest.job.course.job import Job
from ingest.outputs.broker import EmbeddedBrokerSettings
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.job_record import job_record
from ingest.payload.topics import Topics
from ingest.report.figures import in_print, lines, printed
from ingest.report.wording import topic_name
from ingest.service.bay import BaySettings
from ingest.service.service import Service, ServiceSettings
from ingest.service.workings import Jobs
from ingest.simulator.practice import Practice, Trouble
from ingest.simulator.streams import stream
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.jobs import StoredJobs
from ingest.store.records import StoredRecords

BAY = "practice"
RATE_HZ = 50.0
EXIT_FAILED = 1
USUAL = (Trouble.SKEWED_AXLES, Trouble.TOE)
LIMITS = {"tractor-and-trailer": "pellowmere-42", "rigid-8x4": "pellowmere-17"}
"""Invented limits that come with the vehicles; others are held against the general set."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    names = list(shipped())
    parser.add_argument(
        "vehicle", nargs="?", default="rigid-8x4", choices=names, help="which (default rigid-8x4)"
    )
    parser.add_argument("--seed", type=int, default=11, help="draws everything anew (default 11)")
    parser.add_argument(
        "--trouble",
        action="append",
        choices=[each.value for each in Trouble],
        help="what is wrong, several times for more (default: skewed-axles and toe)",
    )
    parser.add_argument("--limits", help="limit set (default: the vehicle's own, or general)")
    parser.add_argument(
        "--by-hand", action="store_true", help="you lead, with levelhead job or any display"
    )
    parser.add_argument(
        "--sweep", action="store_true", help="sweep the steering, too (most of a minute an axle)"
    )
    parser.add_argument("--report", type=Path, metavar="DIR", help="write record, PDF and HTML")
    parser.add_argument("--port", type=int, default=0, help="MQTT port on loopback")


def run(args: argparse.Namespace) -> int:
    """Practise. Exit 0 when the job is finished."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(message)s")
    logging.getLogger("amqtt").setLevel(logging.CRITICAL)
    if args.report is not None and not args.report.is_dir():
        raise InputError(str(args.report), None, "no such folder; make it first")
    console = Console()
    try:
        return asyncio.run(_practise(args, console))
    except StoryError as error:
        console.print(f"levelhead practice: {error}", style="bold", highlight=False)
        return EXIT_FAILED


async def _practise(args: argparse.Namespace, console: Console) -> int:
    say = functools.partial(console.print, highlight=False)
    clock = wall_clock()
    troubles = USUAL if args.trouble is None else tuple(map(Trouble, args.trouble))
    practice = practice_on(vehicle_called(args.vehicle, None), args.seed, troubles, clock)
    demo = build(args.seed, args.vehicle, clock, RATE_HZ, practice.vehicle)
    settings = HostSettings(
        bay=BAY,
        embedded=EmbeddedBrokerSettings(port=args.port),
        service=ServiceSettings(bay=BaySettings(simulated=True)),
    )
    say(f"{demo.rig.vehicle.name} (invented), seed {args.seed}")
    say(CAUTION, style="bold")
    with contextlib.closing(open_database(":memory:")) as store:
        records = StoredRecords(store)
        for text in demo.records:
            records.add(text, "drawn with the head")
        jobs = Jobs(StoredJobs(store), Shop(store))
        names = StoredHeadNames(store)
        async with (
            on_ptys(demo) as plugs,
            running_broker(settings) as broker,
            running_service(settings, broker, plugs.links, names, records, jobs=jobs) as service,
        ):
            run = _Run(args, console, demo, practice, service)
            async with run.listening(broker, plugs):
                await run.work(broker.port)
    return run.tell_truth()


class _Run:
    def __init__(
        self,
        args: argparse.Namespace,
        console: Console,
        demo: DemoRig,
        practice: Practice,
        service: Service,
    ) -> None:
        self._args = args
        self._console = console
        self._demo = demo
        self._practice = practice
        self._service = service
        self._story: PracticeStory | None = None
        self._truth: dict[str, float] = {}

    @contextlib.asynccontextmanager
    async def listening(self, broker: BrokerSettings, plugs: object) -> AsyncIterator[None]:
        """Listen to the bay as any display does."""
        topics = Topics(BAY)
        listener = Listener(broker, topics, [f"{topics.root}/#"], self._hear)
        self._story = PracticeStory(
            self._demo,
            plugs,  # type: ignore[arg-type]
            self._service,
            topics,
            listener,
            self._tell,
            self._practice,
            stream(self._args.seed, "tapes"),
            sweeps=self._args.sweep,
        )
        try:
            await listener.start()
            yield
        except OutputError as error:
            raise StoryError(str(error)) from error
        finally:
            await listener.stop()

    async def work(self, port: int) -> None:
        """Do the job, or have it done."""
        assert self._story is not None
        if self._args.by_hand:
            lead = f"levelhead job --bay {BAY} --port {port}"
            self._tell(f"you lead: {lead} show; {lead} open {self._args.vehicle} general --order 1")
            await self._story.follow_lead()
        else:
            limits = self._args.limits or LIMITS.get(self._args.vehicle, "general")
            await self._story.lead(self._args.vehicle, limits, f"practice-{self._args.seed}")
        self._truth = dict(self._story.truth())
        jobs = self._service.jobs
        assert jobs is not None
        if self._args.report is not None:
            record = job_record(jobs.name, jobs.events(), "Practice bay, simulated", "", "")
            self._tell(write_report(record, None, self._args.report))

    def tell_truth(self) -> int:
        """Set the truth beside what was measured; say what it took."""
        jobs, story = self._service.jobs, self._story
        assert jobs is not None
        assert jobs.job is not None
        assert story is not None
        self._console.print(_table(jobs.job, self._truth))
        for trouble, where in self._practice.troubles.items():
            self._console.print(f"{trouble.value}: {where}", highlight=False)
        cost = story.cost
        tried = ", ".join(f"{topic} {n}" for topic, n in cost.tries.items()) or "none"
        self._console.print(
            f"{cost.tasks} tasks, {cost.mountings} mountings, {cost.acts} turnings; tries: {tried}",
            highlight=False,
        )
        if cost.late_ms:
            late = sorted(cost.late_ms)
            middle, most = late[len(late) // 2], late[int(0.95 * (len(late) - 1))]
            self._console.print(
                f"{len(late)} live values, heard {middle:.0f} ms (median) and {most:.0f} ms (95 %) "
                "after their newest sample, the filters' own delay apart",
                highlight=False,
            )
        return 0 if jobs.job.closed is not None and jobs.job.closed.finished else EXIT_FAILED

    def _tell(self, text: str) -> None:
        self._console.print(f"{self._demo.now_s():6.1f} s  {text}", highlight=False)

    def _hear(self, topic: str, payload: bytes, retained: bool) -> None:
        if self._story is not None:
            self._story.hear(topic, payload)


def _table(job: Job, truth: dict[str, float]) -> Table:
    table = Table(title="as found, as left, and the truth", title_justify="left")
    for column in ("result", "as found", "", "as left", "", "truth"):
        table.add_column(column, justify="right" if column not in ("result", "") else "left")
    for line in lines(job):
        found, last = line.found, line.last
        shown = found or last
        assert shown is not None
        times, unit = in_print(shown.angular)
        true = truth.get(line.topic)
        table.add_row(
            topic_name(line.topic),
            "-" if found is None else printed(found).screen(),
            "" if found is None else found.decision,
            "-" if last is None or line.stale else printed(last).screen(),
            "" if last is None or line.stale else last.decision,
            "-" if true is None else on_screen(f"{true * times:.3f}{unit.symbol}"),
        )
    return table
