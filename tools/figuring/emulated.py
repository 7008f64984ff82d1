"""The C example on emulated boards: what its frames come to, and what the service takes for them.

Run as a process (``emulated.py COUNT RATE_HZ``) it plugs the heads in, prints their paths as JSON,
and feeds their sensors until its standard input ends.
"""

import asyncio
import contextlib
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rig import cpu_share, mosquitto, mosquitto_path, service, subscriber
from rows import row

from ingest.commands.demo_rig import build, wall_clock
from ingest.core.counters import LinkCounters
from ingest.core.ids import MonotonicNs
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.simulator.emulated import COMPILER, EmulatedHead, build_image
from ingest.simulator.emulator import EMULATOR
from ingest.simulator.streams import stream
from ingest.wire.codes import CommandOp
from ingest.wire.commands import Command
from ingest.wire.decoder import Decoder
from ingest.wire.outgoing import outgoing
from ingest.wire.reports import Ack

COUNT = 4
RATE_HZ = 200
MEET_S = 60.0
WARM_S = 3.0
"""The stream runs smoothly by then; counters are said each second."""
ANSWER_S = 10.0


def emulated(quick):
    """Four emulated heads at 200 Hz for ten minutes: bad and lost frames, and the service's CPU."""
    missing = [name for name in (EMULATOR, COMPILER) if shutil.which(name) is None]
    if mosquitto_path() is None:
        missing.append("mosquitto")
    if missing:
        return [row(f"emulated: skipped, {', '.join(missing)} not installed", None, "")]
    seconds = 60.0 if quick else 600.0
    links = {}
    with (
        mosquitto() as port,
        _heads(COUNT, RATE_HZ) as paths,
        service(paths, port) as ours,
        subscriber(port, "levelhead/v1/+/head/+/link", _keep(links)),
    ):
        ends_s = time.monotonic() + MEET_S
        while len(links) < COUNT and time.monotonic() < ends_s:
            time.sleep(0.1)
        time.sleep(WARM_S)
        before = {topic: dict(said) for topic, said in links.items()}
        share, _ = cpu_share(ours.pid, seconds)
        time.sleep(1.5)
    rows = [row("heads heard", len(before), "")]
    for what, fields in (
        ("samples received", ("rx",)),
        ("bad frames", tuple(f for f in next(iter(links.values())) if f.startswith("bad_"))),
        ("lost samples", ("lost",)),
        ("chunks dropped", ("dropped",)),
        ("restarts and reconnections", ("reboots", "reconn")),
    ):
        grown = sum(said[f] - before[topic][f] for topic, said in links.items() for f in fields)
        rows.append(row(f"{what} in {seconds:g} s", grown, ""))
    rows.append(row("service", 100 * share, "% of a core", share / 0.15, "of the 15 % allowed"))
    return rows


def _keep(links):
    def heard(topic, payload, _):
        if payload:
            links[topic] = json.loads(payload)

    return heard


@contextlib.contextmanager
def _heads(count, rate_hz):
    command = [sys.executable, __file__, str(count), str(rate_hz)]
    with subprocess.Popen(command, stdin=-1, stdout=-1, text=True) as feeder:
        try:
            yield json.loads(feeder.stdout.readline())
        finally:
            feeder.stdin.close()


def now_ns():
    return MonotonicNs(time.monotonic_ns())


async def _set_rate(path, rate_hz):
    """Have a head sample at a rate, which it keeps."""
    link, decoder = SerialLink(SerialSettings(path), now_ns), Decoder(LinkCounters())
    await link.open()
    try:
        await link.ask_hello(outgoing(Command(CommandOp.HELLO, 1), link.form))
        await link.send(outgoing(Command(CommandOp.RATE, 2, rate_hz * 10), link.form))
        async with asyncio.timeout(ANSWER_S):
            async for chunk in link.chunks():
                found = decoder.feed(chunk.data, chunk.arrived_ns)
                if any(isinstance(each, Ack) and each.command_id == 2 for each in found):
                    return
    finally:
        await link.close()


async def _feed(count, rate_hz, image):
    demo = build(41, "rigid-8x4", wall_clock())
    heads = [
        EmulatedHead(
            demo.rig,
            head,
            image,
            random=stream(41, name),
            clock=demo.now_s,
            rate_hz=rate_hz,
        )
        for name, head in list(demo.heads.items())[:count]
    ]
    tasks = []
    try:
        paths = [head.plug() for head in heads]
        tasks += [asyncio.create_task(head.run()) for head in heads]
        for path in paths:
            await _set_rate(path, rate_hz)
        print(json.dumps(paths), flush=True)
        await asyncio.to_thread(sys.stdin.read)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        for head in heads:
            head.unplug()


def main():
    with tempfile.TemporaryDirectory() as folder:
        image = build_image(Path(folder))
        asyncio.run(_feed(int(sys.argv[1]), int(sys.argv[2]), image))


if __name__ == "__main__":
    main()
