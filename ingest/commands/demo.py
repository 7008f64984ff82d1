"""``levelhead demo``: the main job on simulated heads, beside the simulator's truth."""

import argparse
import asyncio
import contextlib
import functools
import logging
import re
import signal
import sys
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

from rich.console import Console

from calibration.errors import CalibrationFileError
from calibration.records.chain import coefficients_of
from calibration.records.text import load_record
from ingest.commands.demo_network import network_files
from ingest.commands.demo_plugs import Plugs, emulated, on_ptys, over_the_air
from ingest.commands.demo_rig import DemoRig, build, wall_clock
from ingest.commands.demo_story import CAUTION, Story, StoryError
from ingest.commands.demo_table import Comparison, compare, table
from ingest.commands.drift_words import drift_line
from ingest.commands.host import HostSettings, running_broker, running_service
from ingest.commands.record_folder import take_up
from ingest.core.errors import InputError, OutputError
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.display.server import PageServer
from ingest.outputs.broker import EmbeddedBrokerSettings
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import Topics
from ingest.service.bay import BaySettings
from ingest.service.network import NetworkSettings
from ingest.service.service import Service, ServiceSettings
from ingest.simulator.fleet import VEHICLES
from ingest.simulator.floor import draw_floor
from ingest.simulator.streams import stream
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

BAY = "demo"
RATE_HZ = 50.0
"""Heads, service, broker and page share one process here: enough for a busy machine, too."""
FLOOR_DEG = 0.01
"""How uneven the floor is that the vehicle is pushed over: what the service assumes."""
NOT_CHECKED = (
    "calibration records: signatures are not checked, as the demo is given no keys; levelhead "
    "record check --key does, and levelhead serve with the keys of its configuration"
)
EXIT_DISAGREES = 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--seed", type=int, default=17, help="draws everything anew (default 17)")
    parser.add_argument(
        "--vehicle", choices=list(VEHICLES), default=next(iter(VEHICLES)), help="which vehicle"
    )
    parser.add_argument(
        "--port", type=int, default=0, help="MQTT port on loopback (default: any free one)"
    )
    parser.add_argument(
        "--stay", action="store_true", help="keep running at the end and say where to subscribe"
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument(
        "--ble", action="store_true", help="heads on Bluetooth LE, by a daemon that is played"
    )
    how.add_argument(
        "--emulated-heads", action="store_true", help="the C example head, on emulated boards"
    )
    parser.add_argument(
        "--capture", metavar="FILE.mcap", type=Path, help="keep all that happens in a new file"
    )
    parser.add_argument(
        "--records",
        metavar="DIR",
        type=Path,
        help="calibration records of these heads, as a bench made them (default: drawn)",
    )
    parser.add_argument("--picture", metavar="FILE.svg", help="save the screen as a picture")


def run(args: argparse.Namespace) -> int:
    """Run the demo. Exit 0 when results and truth agree within their uncertainties."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(message)s")
    logging.getLogger("amqtt").setLevel(logging.CRITICAL)  # what it logs is told in one line
    logging.getLogger("bleak").setLevel(logging.ERROR)  # it misses the real daemon's own tool
    if args.picture is not None and not Path(args.picture).absolute().parent.is_dir():
        raise InputError(args.picture, None, "its folder does not exist")
    console = Console(record=args.picture is not None, width=100 if args.picture else None)
    try:
        agrees = asyncio.run(_demo(args, console))
    except StoryError as error:
        print(f"levelhead demo: {error}", file=sys.stderr)
        return EXIT_DISAGREES
    if args.picture is not None:
        save_picture(console, Path(args.picture))
    return 0 if agrees else EXIT_DISAGREES


FOREIGN = (r"@font-face \{.*?\}", r"<!--.*?-->", r'<g transform="translate\(26,22\)">.*?</g>')
"""What the library adds to a picture: fonts to be fetched, its own address, window buttons."""


def save_picture(console: Console, path: Path) -> None:
    """Save the screen as SVG, in the reader's own fonts."""
    drawn = console.export_svg(title="tools/demo")
    for pattern in FOREIGN:
        drawn = re.sub(pattern, "", drawn, flags=re.DOTALL)
    path.write_text(drawn, encoding="utf-8")


async def _demo(args: argparse.Namespace, console: Console) -> bool:
    demo = build(args.seed, args.vehicle, wall_clock(), RATE_HZ)
    demo.rig.vehicle.floor = draw_floor(stream(args.seed, "floor"), FLOOR_DEG * DEG)
    say = functools.partial(console.print, highlight=False)
    say(f"{demo.rig.vehicle.name} (invented), seed {args.seed}")
    say(CAUTION, style="bold")
    plugged = over_the_air if args.ble else emulated if args.emulated_heads else on_ptys
    settings = settings_of(demo, args.port)
    with contextlib.closing(open_database(":memory:")) as store, _page() as page:
        records = StoredRecords(store)
        for line in take_up_all(records, args.records, demo.records):
            say(line, style="bold")
        if args.records is not None:
            say(NOT_CHECKED)
        async with plugged(demo) as plugs, running_broker(settings) as broker:
            where = f"mosquitto_sub -p {broker.port} -t 'levelhead/v1/#' -v"
            say(f"watch along: {page.url}\n         or: {where}")
            names = StoredHeadNames(store)
            async with running_service(
                settings, broker, plugs.links, names, records, args.capture
            ) as service:
                if args.records is not None:
                    service.warn("records-keys", NOT_CHECKED, "note")
                show = _Show(demo, plugs, service, page, console)
                async with show.listening(broker):
                    compared = await show.run()
                    console.print(table(compared))
                    say(compared.verdict())
                    for line in drift_lines(records, demo.records):
                        say(line)
                    if args.stay:
                        say(f"staying until Ctrl-C. Look at {page.url}, or subscribe: {where}")
                        await _until_interrupted()
    return compared.agrees


def settings_of(demo: DemoRig, port: int) -> HostSettings:
    """Return how the demo's bay is served."""
    network = NetworkSettings(network_files(demo))
    return HostSettings(
        bay=BAY,
        embedded=EmbeddedBrokerSettings(port=port),
        service=ServiceSettings(bay=BaySettings(network=network, simulated=True)),
    )


class _Show:
    """The story, its listener and the page that shows what the listener hears."""

    def __init__(
        self, demo: DemoRig, plugs: Plugs, service: Service, page: PageServer, console: Console
    ) -> None:
        self._demo = demo
        self._plugs = plugs
        self._service = service
        self._page = page
        self._console = console
        self._topics = Topics(BAY)
        self._story: Story | None = None

    @contextlib.asynccontextmanager
    async def listening(self, broker: BrokerSettings) -> AsyncIterator[None]:
        """Listen to the bay as any display does."""
        listener = Listener(broker, self._topics, [f"{self._topics.root}/#"], self._hear)
        self._story = Story(
            self._demo, self._plugs, self._service, self._topics, listener, self._tell
        )
        try:
            await listener.start()
            yield
        except OutputError as error:
            raise StoryError(str(error)) from error
        finally:
            await listener.stop()

    async def run(self) -> Comparison:
        """Tell the story; hold what was heard against the truth."""
        assert self._story is not None
        await self._story.run()
        return compare(self._demo, self._topics, self._story.heard)

    def _tell(self, text: str) -> None:
        self._console.print(f"{self._demo.now_s():6.1f} s  {text}", highlight=False)

    def _hear(self, topic: str, payload: bytes, retained: bool) -> None:
        self._page.feed(topic, payload, retained)
        if self._story is not None:
            self._story.hear(topic, payload)


def take_up_all(records: StoredRecords, folder: Path | None, drawn: list[str]) -> list[str]:
    """Take up a folder's records, and for heads that have none there those that were drawn.

    Raises ``InputError`` where the record of a head is refused: its readings would stand beside
    the truth without a correction, and all would wait for results that do not come.
    """
    said = take_up(records, folder)
    for text in drawn:
        head = HeadId(load_record(text).head_id)
        try:
            found = records.newest(head)
        except CalibrationFileError as error:
            reason = f"the record of head {head} is refused ({error}); no demo without it"
            raise InputError("--records", None, reason) from error
        if found is None:
            records.add(text, "drawn with the head")
        else:
            said.append(f"head {found.head_id}: {found.record_id} from {folder}")
    return said


def drift_lines(records: StoredRecords, drawn: list[str]) -> list[str]:
    """Say why U is large of heads whose record tells no drift, and stand in another temperature."""
    found = [records.newest(HeadId(load_record(text).head_id)) for text in drawn]
    parts = [coefficients_of(each).tilt for each in found if each is not None]
    return list(filter(None, [drift_line(part for part in parts if part is not None)]))


@contextlib.contextmanager
def _page() -> Iterator[PageServer]:
    page = PageServer()
    page.start()
    try:
        yield page
    finally:
        page.stop()


async def _until_interrupted() -> None:
    interrupted = asyncio.Event()
    for each in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(each, interrupted.set)
    await interrupted.wait()
