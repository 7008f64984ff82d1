"""``levelhead replay``: say again what a captured bay said, under the name ``<bay>-replay``."""

import argparse
import asyncio
import contextlib
import itertools
import logging
import random
import sys
import time
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

from ingest.capture.reader import read_capture
from ingest.commands.host import HostSettings, monotonic_ns, running_broker
from ingest.commands.replay_outlets import Late, Lines
from ingest.core.errors import InputError, OutputError
from ingest.core.recording import BYTES, Record
from ingest.outputs.broker import EmbeddedBrokerSettings
from ingest.outputs.broker_state import BrokerCondition, BrokerState
from ingest.outputs.mqtt import MqttOutlet
from ingest.outputs.plainmirror import EVERY_S, PlainMirror
from ingest.outputs.settings import BrokerSettings
from ingest.outputs.voice import Voice
from ingest.payload.topics import Topics
from ingest.service import transcript
from ingest.service.backoff import Backoff, BackoffSettings
from ingest.service.player import Player, moment_of

CONNECT_S = 10.0
EXIT_FAULTY = 1
"""The program itself failed at a record: what it said of this capture is not all."""

WEBSOCKET = "a port of our own broker for pages in browsers (default: none)"

PAUSE_S = 1.0
"""Between two passes of a loop: the service has stopped, and displays say so."""

FASTEST = 1e6
"""Faster than any machine plays: no waiting at all."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", type=Path, metavar="FILE.mcap", help="what levelhead capture made")
    parser.add_argument("--speed", type=float, default=1.0, help="times real time (default 1)")
    parser.add_argument(
        "--print",
        action="store_true",
        help="print a line a message, topic and payload, as fast as can be; no broker is used",
    )
    parser.add_argument("--info", action="store_true", help="say what the file holds, no more")
    parser.add_argument("--host", help="a broker of yours (default: one of our own on loopback)")
    parser.add_argument("--port", type=int, default=1883, help="its port (default 1883)")
    parser.add_argument("--websocket", type=int, metavar="PORT", help=WEBSOCKET)
    parser.add_argument("--plain", action="store_true", help="say the plain lines under val/, too")
    end = parser.add_mutually_exclusive_group()
    end.add_argument("--stay", action="store_true", help="stay at the end, until Ctrl-C")
    end.add_argument("--loop", action="store_true", help="begin anew at the end, until Ctrl-C")


def run(args: argparse.Namespace) -> int:
    """Replay. Exit 2 when the file cannot be played."""
    if not args.speed > 0.0:
        raise InputError("--speed", None, f"{args.speed} is not above 0")
    if args.host and args.websocket is not None:
        raise InputError("--websocket", None, "is a port of our own broker; leave out --host")
    capture = read_capture(args.file)
    for remark in capture.remarks:
        print(f"levelhead replay: {remark}", file=sys.stderr)
    if args.print or args.info:
        lines = Lines()
        player = Player(str(args.file), capture.records, lines)
        if args.info:
            print("\n".join(described(player)))
            return 0
        for record in player.records:
            player.play(record)
            for line in lines.taken():
                print(line)
        return _judged(player)
    logging.basicConfig(level=logging.ERROR)
    logging.getLogger("amqtt").setLevel(logging.CRITICAL)  # what it logs is told in one line
    with contextlib.suppress(KeyboardInterrupt):
        return asyncio.run(_replay(args, capture.records))
    return 0


def described(player: Player) -> Iterator[str]:
    """Yield lines: whose capture it is, how long, what came over which link."""
    records = player.records
    span_s = (records[-1].at_ns - records[0].at_ns) * 1e-9
    began = time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime(records[0].wall_ns // 10**9))
    yield f"bay {player.bay_name}, {began} UTC, {span_s:.1f} s, {len(records)} records"
    yield f"captured by levelhead {player.program or 'of no stated version'}"
    for link in player.workings.bay.slots:
        mine = [len(r.data) for r in records if r.topic == BYTES + link]
        yield f"{link}: {sum(mine)} bytes in {len(mine)} reads"
    requests = sum(r.topic == transcript.REQUEST for r in records)
    yield f"{requests} requests of displays"


def first_status(where: str, records: tuple[Record, ...], number: int) -> bytes:
    """Return the first status of a pass: what is said when nothing was played yet."""
    heard = Late()
    player = Player(where, records, heard, number)
    for record in records:
        if heard.status:
            break
        player.play(record)
    return heard.status or player.workings.introduce(moment_of(records[0]), "online", "")


async def _replay(args: argparse.Namespace, records: tuple[Record, ...]) -> int:
    own = BrokerSettings(host=args.host or "127.0.0.1", port=args.port)
    embedded = None
    if not args.host:
        embedded = EmbeddedBrokerSettings(port=args.port, websocket_port=args.websocket)
    topics = Player(str(args.file), records, Late()).topics
    settings = HostSettings(bay=topics.bay, embedded=embedded, broker=own)
    try:
        async with running_broker(settings) as broker:
            for number in itertools.count(1):
                code = await _pass(args, records, topics, broker, number)
                if not args.loop or _told_to_stop():
                    return code
                await asyncio.sleep(PAUSE_S)
    except OutputError as error:
        raise InputError(error.where, None, error.reason) from error
    raise AssertionError("a loop has no end")


def _told_to_stop() -> bool:
    """Tell whether Ctrl-C came, also where something waited for in that moment swallowed it.

    (``asyncio.wait_for`` of Python 3.11 does, when what it waits for is done at the same time.)
    """
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0


async def _pass(
    args: argparse.Namespace,
    records: tuple[Record, ...],
    topics: Topics,
    broker: BrokerSettings,
    number: int,
) -> int:
    """Play once, as one start of a service; return the exit code."""
    late = Late()
    late.status = first_status(str(args.file), records, number)
    mirror = PlainMirror(late, topics, monotonic_ns) if args.plain else None
    player = Player(str(args.file), records, mirror or late, number)
    async with _spoken(player, broker, late):
        if number == 1:
            where = f"mosquitto_sub -p {broker.port} -t '{topics.root}/#' -v"
            print(f"replaying as bay {topics.bay}: {where}", flush=True)
        async with _said_again(mirror, late):
            await _play(player, late, args.speed)
            code = _judged(player)
            if args.stay:
                print("staying until Ctrl-C", flush=True)
                await asyncio.get_running_loop().create_future()
        if args.loop:
            late.clear()
            await late.send()
    return code


@contextlib.asynccontextmanager
async def _said_again(mirror: PlainMirror | None, late: Late) -> AsyncIterator[None]:
    """Have the plain lines said every second while the block runs."""
    if mirror is None:
        yield
        return

    async def say() -> None:
        while True:
            await asyncio.sleep(EVERY_S)
            mirror.say_again()
            await late.send()

    task = asyncio.create_task(say(), name="plain mirror")
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _play(player: Player, late: Late, speed: float) -> None:
    """Play in the rhythm of the capture, so many times as fast."""
    loop = asyncio.get_running_loop()
    began_s, first_ns = loop.time(), player.records[0].at_ns
    for count, record in enumerate(player.records):
        if _told_to_stop():
            return
        due_s = began_s + (record.at_ns - first_ns) * 1e-9 / speed
        if due_s > loop.time() and speed < FASTEST:
            await asyncio.sleep(due_s - loop.time())
        elif count % 50 == 0:
            await asyncio.sleep(0)
        player.play(record)
        await late.send()


@contextlib.asynccontextmanager
async def _spoken(player: Player, broker: BrokerSettings, late: Late) -> AsyncIterator[None]:
    """Let the player's messages go out over MQTT while the block runs."""

    def farewell() -> bytes:
        return player.workings.introduce(moment_of(player.records[-1]), "offline", "stopped")

    connected, answered = asyncio.Event(), asyncio.Event()
    why = [f"no broker answered within {CONNECT_S:g} s"]

    def on_state(state: BrokerState) -> None:
        why.append(state.text)
        answered.set()
        if state.condition is BrokerCondition.CONNECTED:
            connected.set()
        elif connected.is_set() and state.condition is not BrokerCondition.STOPPED:
            print(f"levelhead replay: {state.text}", file=sys.stderr)

    outlet = MqttOutlet(
        broker,
        player.topics,
        Voice(
            player.boot,
            lambda: late.status,
            farewell,
            lambda request: None,
            on_state,
        ),
        patience=Backoff(BackoffSettings(), random.random),
        clock=monotonic_ns,
        wall=time.time_ns,
    )
    late.outlet = outlet
    task = asyncio.create_task(outlet.run(), name="outlet")
    try:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(answered.wait(), CONNECT_S)
        if not connected.is_set():
            raise InputError("--host", None, why[-1])
        yield
    finally:
        await outlet.stop()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def _judged(player: Player) -> int:
    """Say what was not played as it was captured; return the exit code."""
    if player.skipped:
        print(
            f"levelhead replay: {player.skipped} records are none that this program knows; "
            "they were passed over",
            file=sys.stderr,
        )
    if player.faults:
        print(
            f"levelhead replay: the program itself failed at {player.faults} records; please "
            "report this capture",
            file=sys.stderr,
        )
    return EXIT_FAULTY if player.faults else 0
