"""How late the value that is being turned is at a display: real processes, from head to client."""

import contextlib
import json
import subprocess
import sys
import time
from datetime import datetime

import numpy as np
from rig import (
    HERE,
    cpu_share,
    free_port,
    mosquitto,
    mosquitto_path,
    service,
    subscriber,
    wait_for_port,
)
from rows import row

ASKED_MS = 60.0
RATE_HZ = 100.0
VEHICLES = ("rigid-4x2", "rigid-8x4")


def turned(quick):
    """From the newest sample that a live value stands on to a client, while a job adjusts."""
    brokers = [("embedded broker", True)]
    if mosquitto_path() is None:
        rows = [row("turned on mosquitto: skipped, it is not installed", None, "")]
    else:
        rows, brokers = [], [("mosquitto", False), *brokers]
    for vehicle in VEHICLES:
        for name, embedded in brokers[:1] if quick else brokers:
            seconds = 10.0 if quick else 60.0
            late_ms, share = _heard(vehicle, seconds, embedded=embedded)
            what = f"{vehicle}, {name}"
            for percent in (50, 95, 99):
                ms = float(np.percentile(late_ms, percent))
                rows.append(row(f"{what}, p{percent}", ms, "ms", ms / ASKED_MS, "of 60 ms"))
            rows.append(row(f"{what}, values", len(late_ms) / seconds, "1/s"))
            rows.append(row(f"{what}, service", 100 * share, "% of a core"))
    return rows


def _heard(vehicle, seconds, *, embedded):
    """Return how late each value was heard, ms, and the service's share of a core."""
    late_ms = []

    def heard(_topic, payload, _arrived_s):
        arrived_s = time.time()
        said = json.loads(payload)
        if said["value"] is not None:
            late_ms.append((arrived_s - _epoch_s(said["t"])) * 1e3 - said["lag_ms"])

    with contextlib.ExitStack() as stack:
        port = free_port() if embedded else stack.enter_context(mosquitto())
        turner = stack.enter_context(_turner(vehicle))
        bay = json.loads(turner.stdout.readline())
        serving = service(bay["paths"], port, embedded=embedded, records=bay["records"])
        running = stack.enter_context(serving)
        wait_for_port(port)
        turner.stdin.write(f"{port}\n")
        turner.stdin.flush()
        if not turner.stdout.readline():
            raise SystemExit("figures: no job came to an adjustment")
        with subscriber(port, "levelhead/v1/bay1/job/live", heard):
            time.sleep(2.0)
            late_ms.clear()
            share, _ = cpu_share(running.pid, seconds)
            return list(late_ms), share


def _epoch_s(stamp):
    """Return an RFC 3339 time with nine places as seconds since 1970: to a microsecond."""
    return datetime.fromisoformat(f"{stamp[:26]}+00:00").timestamp()


@contextlib.contextmanager
def _turner(vehicle):
    command = (sys.executable, str(HERE / "turner.py"), vehicle, "11", str(RATE_HZ))
    pipe = subprocess.PIPE
    running = subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True)
    try:
        yield running
    finally:
        running.kill()
        running.wait()
        running.stdin.close()
        running.stdout.close()
