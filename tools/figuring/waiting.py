"""How long the value that is turned waits inside of a service, its work apart."""

import sys
import time
from pathlib import Path

import numpy as np
from rows import row

sys.path.insert(0, str(Path(__file__).parents[2]))

from ingest.commands.host import keep_for_good
from ingest.job.course.tasks import Doing
from ingest.simulator.practice import Trouble
from tools.rehearsal.hands import JobOnABay

FRAME_S = 0.02
"""Bytes of a head come as often as its samples are taken."""
ASKED_MS = 60.0


def waiting(quick):
    """From the newest sample that a live value stands on to its being said, and its work."""
    job = JobOnABay(11, "rigid-4x2", "general", (Trouble.TOE,), 50.0)
    for item in job.job.unchecked:
        job.ask("job-check", item=item, state="ok")
    job.ask("job-begin")
    while (task := job.job.current).doing is not Doing.ADJUST:
        job.do(task)
    job.ask("job-adjust", task=task.id)
    keep_for_good()  # as the service does once it stands
    waited, took = _heard(job, 5.0 if quick else 30.0)
    rows = []
    for what, found in (("in simulated time", waited), ("work of a value, processor", took)):
        for percent in (50, 95, 99):
            ms = float(np.percentile(found, percent))
            rows.append(row(f"{what}, p{percent}", ms, "ms", ms / ASKED_MS, f"of {ASKED_MS:g} ms"))
    rows.append(row("values a second", len(waited) / (5.0 if quick else 30.0), "1/s"))
    return rows


def _heard(job, seconds):
    """Let bytes come sample by sample; return waits and works in ms."""
    waited, took, bay = [], [], job.bay
    publish = bay.outlet.publish

    def hear(topic, payload, **how):
        publish(topic, payload, **how)
        if topic == bay.topics.job("live"):
            said = bay.outlet.retained[topic]
            waited.append(bay._wall() * 1e-6 - said["ms"] - said["lag_ms"])

    bay.outlet.publish = hear
    end_s = bay.clock.now_s + seconds
    while bay.clock.now_s < end_s:
        bay.clock.now_s += FRAME_S
        for name, pty in bay.demo.ptys.items():
            bay.give(name, pty.firmware.run(bay.clock.now_s))
            before, began = len(waited), time.thread_time()
            job.work.live()
            if len(waited) > before:
                took.append((time.thread_time() - began) * 1e3)
    return waited, took
