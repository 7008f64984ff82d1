"""A simulated vehicle with its heads on ptys and hands at it, for measuring: a process of its own.

Run as ``turner.py VEHICLE SEED RATE_HZ`` it prints the ptys and the heads' records as JSON, reads
the broker's port, leads a job there by MQTT alone until something is adjusted that heads follow,
prints what, and goes on turning and jouncing until it is killed.
"""

import asyncio
import json
import sys

from ingest.commands.align_bay import LIMITS, PACE
from ingest.commands.align_ears import Ears
from ingest.commands.align_hands import Hands
from ingest.commands.demo_plugs import on_ptys
from ingest.commands.demo_rig import build, draw_heads, wall_clock
from ingest.commands.host import keep_for_good
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import vehicle_called
from ingest.job.course.intake import ITEMS
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import Topics
from ingest.simulator.practice import Trouble
from ingest.simulator.streams import stream

WAIT_S = 90.0
STANDS_S = 4.0
"""Between two turns the wheels rest, and all that heads read at rest is worked out as well."""


async def main(vehicle, seed, rate_hz):
    clock, heads = wall_clock(), draw_heads(seed)
    practice = practice_on(vehicle_called(vehicle, None), seed, (Trouble.TOE,), clock, heads)
    demo = build(seed, vehicle, clock, rate_hz, practice.vehicle, heads=heads, pace=PACE)
    async with on_ptys(demo) as plugs:
        paths = [pty.path for pty in demo.ptys.values()]
        print(json.dumps({"paths": paths, "records": demo.records}), flush=True)
        port = int(await asyncio.to_thread(sys.stdin.readline))
        ears = Ears(BrokerSettings(host="127.0.0.1", port=port), Topics("bay1"))
        hands = Hands(demo, practice, plugs, ears, stream(seed, "tapes"))
        async with ears.listening():
            await _open(ears, hands, vehicle)
            done = {""}
            while (task := await _next(ears, done))["doing"] != "adjust":
                await _do(ears, hands, task)
                await ears.ask("job-done", task=task["task"])
                done.add(task["task"])
            await _turn(ears, hands, task)


async def _open(ears, hands, vehicle):
    await hands.name_heads()
    limits = LIMITS.get(vehicle, "general")
    await ears.ask("job-open", vehicle=vehicle, limits=limits, order="figures", by="ines")
    for item in ITEMS:
        await ears.ask("job-check", item=item.id, state="ok")
    await ears.ask("job-begin")


async def _next(ears, done):
    """Return the task that the bay is at, once its guidance is there as well."""

    def told():
        step, guidance = (ears.job.get(leaf, {}) for leaf in ("step", "guidance"))
        return step.get("task", "") not in done and step["task"] == guidance.get("task")

    await ears.until(told, WAIT_S, "a task")
    return dict(ears.job["step"])


async def _do(ears, hands, task):
    axles = [int(axle) for axle in task["axles"].split("+")]
    match task["doing"]:
        case "mount":
            await hands.mount(axles, [int(axle) for axle in task["off"].split("+") if axle])
        case "tape":
            await hands.tape()
        case "turn":
            await hands.turn(axles)
        case "sweep":
            await hands.sweep(axles[0])
    if task["doing"] in ("sweep", "find"):
        await ears.until(lambda: bool(ears.job["guidance"]["ready"]), WAIT_S, task["title"])


async def _turn(ears, hands, task):
    """Turn what is advised, let the axle settle, again and again."""
    await ears.until(lambda: bool(ears.job["advice"].get("text")), WAIT_S, "advice")
    await ears.ask("job-adjust", task=task["task"])
    keep_for_good()  # a head has no collector of garbage that makes its samples late
    print(json.dumps({"turning": task["title"]}), flush=True)
    while True:
        await hands.do_as_told(task, ears.job["advice"]["text"])
        await asyncio.sleep(STANDS_S)


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], int(sys.argv[2]), float(sys.argv[3])))
