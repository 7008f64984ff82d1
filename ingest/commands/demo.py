"""``levelhead demo``: the main job on simulated heads, beside the simulator's truth."""

import argparse
import asyncio
import contextlib
import logging
import sys
from collections.abc import AsyncIterator

from rich.console import Console

from ingest.commands.demo_rig import DemoRig, build, wall_clock
from ingest.commands.demo_story import CAUTION, Story, StoryError
from ingest.commands.demo_table import Comparison, compare, table
from ingest.commands.host import HostSettings, monotonic_ns, running_broker, running_service
from ingest.core.errors import OutputError
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.outputs.broker import EmbeddedBrokerSettings
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import Topics
from ingest.service.service import Service
from ingest.simulator.fleet import VEHICLES
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

BAY = "demo"
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
    parser.add_argument("--picture", metavar="FILE.svg", help="save the screen as a picture")


def run(args: argparse.Namespace) -> int:
    """Run the demo. Exit 0 when results and truth agree within their uncertainties."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(message)s")
    console = Console(record=args.picture is not None, width=100 if args.picture else None)
    try:
        agrees = asyncio.run(_demo(args, console))
    except StoryError as error:
        print(f"levelhead demo: {error}", file=sys.stderr)
        return EXIT_DISAGREES
    if args.picture is not None:
        console.save_svg(args.picture, title="tools/demo")
    return 0 if agrees else EXIT_DISAGREES


async def _demo(args: argparse.Namespace, console: Console) -> bool:
    demo = build(args.seed, args.vehicle, wall_clock())
    console.print(f"{demo.rig.vehicle.name} (invented), seed {args.seed}", highlight=False)
    console.print(CAUTION, style="bold", highlight=False)
    settings = HostSettings(bay=BAY, embedded=EmbeddedBrokerSettings(port=args.port))
    async with _plugged(demo) as links, running_broker(settings) as broker:
        connection = open_database(":memory:")
        records = StoredRecords(connection)
        for text in demo.records:
            records.add(text, "simulated bench")
        names = StoredHeadNames(connection)
        where = f"mosquitto_sub -p {broker.port} -t 'levelhead/v1/#' -v"
        console.print(f"watch along: {where}", highlight=False)
        async with running_service(settings, broker, links, names, records) as service:
            topics = Topics(BAY)
            compared = await _play(demo, service, topics, broker, console)
            console.print(table(compared))
            console.print(compared.verdict(), highlight=False)
            if args.stay:
                console.print(f"staying; stop with Ctrl-C. Subscribe: {where}", highlight=False)
                with contextlib.suppress(asyncio.CancelledError):
                    await asyncio.get_running_loop().create_future()
    connection.close()
    return compared.agrees


async def _play(
    demo: DemoRig, service: Service, topics: Topics, broker: BrokerSettings, console: Console
) -> Comparison:
    def tell(text: str) -> None:
        console.print(f"{demo.now_s():6.1f} s  {text}", highlight=False)

    heard: list[Story] = []

    def hear(topic: str, payload: bytes, _retained: bool) -> None:
        for story in heard:
            story.hear(topic, payload)

    listener = Listener(broker, topics, [f"{topics.root}/#"], hear)
    story = Story(demo, service, topics, listener, tell)
    heard.append(story)
    try:
        await listener.start()
        await story.run()
    except OutputError as error:
        raise StoryError(str(error)) from error
    finally:
        await listener.stop()
    return compare(demo, topics, story.heard)


@contextlib.asynccontextmanager
async def _plugged(demo: DemoRig) -> AsyncIterator[list[SerialLink]]:
    """Plug all heads in; yield a link to each."""
    paths = [pty.plug() for pty in demo.ptys.values()]
    tasks = [asyncio.create_task(pty.run(), name=f"head {n}") for n, pty in demo.ptys.items()]
    try:
        yield [SerialLink(SerialSettings(path), monotonic_ns) for path in paths]
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        for pty in demo.ptys.values():
            pty.unplug()
