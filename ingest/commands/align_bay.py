"""A simulated bay, wired: rig, links, broker, service with jobs, page, and hands at the vehicle.

Used by ``demo`` and by ``practice``.
"""

import argparse
import contextlib
import logging
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from pathlib import Path

from ingest.commands.align_ears import Ears, StoryError
from ingest.commands.align_follow import Following
from ingest.commands.align_hands import Hands
from ingest.commands.align_ramp import RampShop, standing_first
from ingest.commands.align_records import take_up_all
from ingest.commands.align_telling import Telling, Warnings
from ingest.commands.align_truth import Truth, Witness, true_now
from ingest.commands.demo_plugs import Plugs, on_ptys
from ingest.commands.demo_rig import DemoRig, build, draw_heads, wall_clock
from ingest.commands.display_source import source_of
from ingest.commands.host import HostSettings, running_broker, running_service
from ingest.commands.job_offers import Offers
from ingest.commands.job_papers import software, write_report
from ingest.commands.job_shop import Shop
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import shipped, vehicle_called
from ingest.core.errors import InputError
from ingest.display.server import PageServer
from ingest.job.course.job import Job
from ingest.outputs.broker import EmbeddedBrokerSettings
from ingest.outputs.settings import BrokerSettings
from ingest.payload.job_record import job_record
from ingest.payload.topics import Topics
from ingest.service.baysettings import BaySettings
from ingest.service.jobwork import JobWork
from ingest.service.service import ServiceSettings
from ingest.service.workings import Jobs
from ingest.simulator.practice import Practice, Trouble
from ingest.simulator.streams import stream
from ingest.simulator.technician import Pace
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

RATE_HZ = 50.0
"""Heads, service, broker and page share one process here: enough for a busy machine, too."""
USUAL = (Trouble.SKEWED_AXLES, Trouble.TOE)
LIMITS = {"tractor-and-trailer": "pellowmere-42", "rigid-8x4": "pellowmere-17"}
"""Invented limits that come with the vehicles; others are held against the general set."""
SHORT = {"tractor-trailer": "tractor-and-trailer"}
NOT_CHECKED = (
    "calibration records: signatures are not checked, as the demo is given no keys; levelhead "
    "record check --key does, and levelhead serve with the keys of its configuration"
)
FLAGSHIP = "rigid-8x4"
PACE = Pace(dwell_s=2.0, settle_s=0.8)
"""Hands wait no longer than the service takes to see that a wheel rests: what is not ready yet, it
says, and they wait for that."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be aligned, and what with.

    ``limits`` None: the vehicle's own, else the general set. ``plugged``: how the heads are linked.
    ``by``: under which name the technician asks for things.
    """

    by: str
    vehicle: str
    seed: int
    troubles: tuple[Trouble, ...] = USUAL
    limits: str | None = None
    port: int = 0
    plugged: Callable[[DemoRig], AbstractAsyncContextManager[Plugs]] = on_ptys
    records: Path | None = None
    capture: Path | None = None
    sweeps: bool = False


@dataclass(slots=True)
class Alignment:
    """A bay in which a job can be done. ``as_found`` is what was true at first."""

    wish: Wish
    demo: DemoRig
    practice: Practice
    records: StoredRecords
    jobs: JobWork
    witness: Witness
    ears: Ears
    hands: Hands
    story: Following
    as_found: Truth
    port: int
    page: PageServer

    @property
    def job(self) -> Job:
        """The job as it stands. Raises ``StoryError`` where none was opened."""
        if self.jobs.job is None:
            raise StoryError("no job was opened")
        return self.jobs.job

    async def lead(self) -> None:
        """Do the whole job by itself."""
        wish = self.wish
        await self.story.lead(
            wish.vehicle,
            limits_of(wish),
            f"{wish.by}-{wish.seed}",
            sweeps=wish.sweeps,
            why=f"not asked for in this {wish.by}",
        )

    def as_left(self) -> Truth:
        """Return what is true now."""
        return true_now(self.practice, self.demo.now_s())

    def write(self, folder: Path) -> Path:
        """Write record, PDF and HTML; return the PDF."""
        record = job_record(
            self.jobs.name,
            self.jobs.events(),
            f"{self.wish.by.capitalize()} bay, simulated",
            "",
            software(),
        )
        write_report(record, None, folder)
        self.page.lay_out(folder)
        return folder / f"{record.job}.pdf"


def add_common(parser: argparse.ArgumentParser, seed: int) -> None:
    """Declare the arguments that every alignment of a simulated vehicle has."""
    parser.add_argument(
        "--seed", type=int, default=seed, help=f"draws everything anew (default {seed})"
    )
    parser.add_argument(
        "--port", type=int, default=0, help="MQTT port on loopback (default: any free one)"
    )
    parser.add_argument(
        "--report",
        type=Path,
        metavar="DIR",
        help="folder for record, PDF and HTML (default: a new one, named at the end)",
    )


def vehicle_names() -> list[str]:
    """Return the vehicles that can be aligned."""
    return list(shipped())


def quiet(telling: Telling) -> None:
    """Let libraries say what matters to a person at a terminal."""
    logging.basicConfig(level=logging.WARNING, handlers=[Warnings(telling)])
    logging.getLogger("amqtt").setLevel(logging.CRITICAL)  # what it logs is told in one line
    logging.getLogger("bleak").setLevel(logging.ERROR)  # it misses the real daemon's own tool


def see_writable(folder: Path | None) -> None:
    """See to it, before anything begins, that a folder takes what is written at the end.

    Raises ``InputError``.
    """
    if folder is None:
        return
    if not folder.is_dir():
        raise InputError(str(folder), None, "no such folder; make it first")
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        reason = f"cannot be written to: {(error.strerror or str(error)).lower()}"
        raise InputError(str(folder), None, reason) from error


def folder_for(args: argparse.Namespace) -> Path:
    """Return the folder for the papers: the one asked for, or a new one."""
    return args.report or Path(tempfile.mkdtemp(prefix=f"levelhead-{args.command}-"))


@contextlib.asynccontextmanager
async def aligning(wish: Wish, telling: Telling) -> AsyncIterator[Alignment]:
    """Run a bay with hands at its vehicle while the block runs."""
    clock, heads = wall_clock(), draw_heads(wish.seed)
    file = vehicle_called(wish.vehicle, None)
    practice = practice_on(file, wish.seed, wish.troubles, clock, heads)
    demo = build(wish.seed, wish.vehicle, clock, RATE_HZ, practice.vehicle, heads=heads, pace=PACE)
    telling.clock = demo.now_s
    telling.say(f"{demo.rig.vehicle.name} (invented), seed {wish.seed}")
    settings = settings_of(wish)
    with contextlib.closing(open_database(":memory:")) as store, _page() as page:
        records, witness = StoredRecords(store), Witness(store)
        for line in take_up_all(records, wish.records, demo.records):
            telling.say(line)
        if wish.records is not None:
            telling.say(NOT_CHECKED)
        async with (
            running_broker(settings) as broker,
            wish.plugged(demo) as plugs,
            running_service(
                settings,
                broker,
                plugs.links,
                StoredHeadNames(store),
                records,
                wish.capture,
                jobs=Jobs(
                    witness,
                    RampShop(Shop(store), wish.vehicle),
                    standing_first(Offers(store).now, wish.vehicle, limits_of(wish)),
                ),
            ) as service,
        ):
            assert service.jobs is not None
            witness.standing = service.jobs.standing
            if wish.records is not None:
                service.warn("records-keys", NOT_CHECKED, "note")
            service.warn("on-the-ramp", on_the_ramp(wish), "note")
            page.join(source_of(wish.by, broker, at_home=True))
            ears = Ears(broker, Topics(wish.by), telling.say)
            hands = Hands(demo, practice, plugs, ears, stream(wish.seed, "tapes"))
            story = Following(ears, hands, service.jobs, telling, wish.by)
            telling.say(f"watch along: {page.url}\n         or: {subscribing(broker)}")
            async with ears.listening():
                yield Alignment(
                    wish,
                    demo,
                    practice,
                    records,
                    service.jobs,
                    witness,
                    ears,
                    hands,
                    story,
                    true_now(practice, 0.0),
                    broker.port,
                    page,
                )


def limits_of(wish: Wish) -> str:
    """Return the limits that a vehicle is held against."""
    return wish.limits or LIMITS.get(wish.vehicle, "general")


def on_the_ramp(wish: Wish) -> str:
    """Return what a person at a display is told, who sees no vehicle."""
    return (
        f"A simulated vehicle stands on this ramp: {wish.vehicle}, limits {limits_of(wish)}. Lead "
        "the job from here; simulated hands clamp, turn, steer and adjust as each step asks."
    )


def settings_of(wish: Wish) -> HostSettings:
    """Return how the bay is served. The bay is named after what it is for."""
    return HostSettings(
        bay=wish.by,
        embedded=EmbeddedBrokerSettings(port=wish.port),
        service=ServiceSettings(bay=BaySettings(simulated=True)),
    )


def subscribing(broker: BrokerSettings) -> str:
    """Return how any MQTT client sees it all."""
    return f"mosquitto_sub -p {broker.port} -t 'levelhead/v1/#' -v"


@contextlib.contextmanager
def _page() -> Iterator[PageServer]:
    page = PageServer()
    page.start()
    try:
        yield page
    finally:
        page.stop()
