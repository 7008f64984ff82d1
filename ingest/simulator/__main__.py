"""``python -m ingest.simulator``: heads at rest on ptys, in a process of their own.

Prints one JSON line with the paths and runs until it is stopped. The rig is the flagship
vehicle with a head on every wheel (more heads lie on the trolley), so that a service under
measurement has something true to read while the load of making it up stays elsewhere.
"""

import argparse
import asyncio
import contextlib
import json
import signal
import time

from ingest.simulator.clamp import draw_clamping
from ingest.simulator.draws import draw_head
from ingest.simulator.faults import MILD, FaultInjector, FaultPlan
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.fleet import VEHICLES
from ingest.simulator.head import Head
from ingest.simulator.ptyhead import PtyHead
from ingest.simulator.rig import Rig
from ingest.simulator.streams import stream

DRIFT_PPM = 50.0
AHEAD_S = 0.5
"""Nobody moves anything here, so samples may be worked out far ahead, which is cheap."""


def standing_rig(seed: int, count: int) -> tuple[Rig, dict[str, Head]]:
    """Return the flagship with as many heads as asked for, clamped on while there are wheels."""
    heads = {f"head-{number}": draw_head(seed, f"head-{number}") for number in range(1, count + 1)}
    vehicle = next(iter(VEHICLES.values()))(seed)
    rig = Rig(vehicle, tuple(heads.values()))
    for (name, head), wheel in zip(heads.items(), vehicle.wheels, strict=False):
        rig.mount(head, wheel, draw_clamping(stream(seed, "clamp", name)), -60.0)
    return rig, heads


def pty_heads(seed: int, count: int, rate_hz: float, plan: FaultPlan) -> list[PtyHead]:
    """Return heads that are not plugged in yet."""
    started_s = time.monotonic()
    rig, heads = standing_rig(seed, count)
    ptys = []
    for name, head in heads.items():
        random = stream(seed, "firmware", name)
        clockwork = Clockwork(random.uniform(-DRIFT_PPM, DRIFT_PPM), int(random.integers(1 << 32)))
        firmware = Firmware(
            rig,
            head,
            random=random,
            clockwork=clockwork,
            faults=FaultInjector(plan, stream(seed, "faults", name)),
            rate_hz=rate_hz,
            ahead_s=AHEAD_S,
        )
        ptys.append(PtyHead(firmware, lambda: time.monotonic() - started_s))
    return ptys


async def serve(ptys: list[PtyHead]) -> None:
    """Plug the heads in, say where, and run until told to stop."""
    loop, stopped = asyncio.get_running_loop(), asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopped.set)
    print(json.dumps({"ptys": [head.plug() for head in ptys]}), flush=True)
    tasks = [asyncio.create_task(head.run()) for head in ptys]
    await stopped.wait()
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    for head in ptys:
        head.unplug()


def main() -> None:
    """Read the arguments and run."""
    parser = argparse.ArgumentParser(prog="python -m ingest.simulator", description=__doc__)
    parser.add_argument("--heads", type=int, default=4, help="how many (default 4)")
    parser.add_argument("--rate", type=float, default=100.0, help="samples a second each, Hz")
    parser.add_argument("--seed", type=int, default=17, help="draws everything anew (default 17)")
    parser.add_argument("--faults", action="store_true", help="lose and damage a few frames")
    args = parser.parse_args()
    if args.heads < 1 or not 0.1 <= args.rate <= 1000.0:
        parser.error("at least one head, and 0.1 to 1000 samples a second")
    ptys = pty_heads(args.seed, args.heads, args.rate, MILD if args.faults else FaultPlan())
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(serve(ptys))


if __name__ == "__main__":
    main()
