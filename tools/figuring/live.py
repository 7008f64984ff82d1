"""How long the results of a live network take: from the bytes that complete their samples on."""

import time
from datetime import UTC, datetime

import numpy as np
from rows import row

from ingest.commands.demo_network import network_files, set_ups
from ingest.commands.demo_rig import HEADS, build
from ingest.commands.host import keep_for_good
from ingest.core.frames import Side
from ingest.core.ids import HeadName, MonotonicNs
from ingest.core.ports import LinkForm
from ingest.core.units import NS
from ingest.payload.topics import Topics
from ingest.service.bayhead import Wheel
from ingest.service.baysettings import BaySettings
from ingest.service.inputs import Arrived, LinkIs, Moment
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.network import NetworkSettings
from ingest.service.player import NoHands
from ingest.service.workings import Workings, WorkSettings
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

TICK_S = 0.1
"""A value of each head at a time, as the filters give them."""

ASKED_MS = 50.0


def live(quick):
    """From the bytes that complete a network's samples to each result, all four heads at once."""
    rows = []
    for seed, vehicle in ((1, "rigid-8x4"), (2, "tractor-and-trailer")):
        job = _Job(seed, vehicle)
        for axles in set_ups(vehicle)[: 2 if quick else None]:
            job.set_up(axles)
        took, busy = np.array(job.took_ms), np.array(job.busy_ms)
        what = f"{vehicle}, {len(took)} results"
        rows += [
            row(f"{what}, median", float(np.median(took)), "ms", _share(np.median(took)), _LIMIT),
            row(
                "p99", float(np.percentile(took, 99)), "ms", _share(np.percentile(took, 99)), _LIMIT
            ),
            row("longest, the first one included", took.max(), "ms", _share(took.max()), _LIMIT),
            row("the same by the processor's clock", busy.max(), "ms", _share(busy.max()), _LIMIT),
        ]
    return rows


_LIMIT = f"of {ASKED_MS:g} ms"


def _share(ms):
    return float(ms) / ASKED_MS


class _Job:
    """A service's workings in simulated time; four heads whose bytes arrive at one moment.

    A result waits for the heads before it, so that the time counts from the arrival of the first.
    """

    def __init__(self, seed, vehicle):
        self.now_s, self.took_ms, self.busy_ms = 0.0, [], []
        self.began = self.began_busy = 0.0
        self.demo = build(seed, vehicle, lambda: self.now_s, 50.0)
        self.vehicle, self.on = vehicle, {}
        store = open_database(":memory:")
        names, records = StoredHeadNames(store), StoredRecords(store)
        for name, head in self.demo.heads.items():
            names.set_name(head.design.head, HeadName(name))
        for text in self.demo.records:
            records.add(text, "bench")
        settings = BaySettings(network=NetworkSettings(network_files(self.demo)))
        forms = dict.fromkeys(self.demo.ptys, LinkForm.STREAM)
        self.workings = Workings(
            WorkSettings(settings),
            Topics("bay1"),
            forms,
            self,
            NoHands(),
            names=names,
            records=records,
            boot="b-1",
        )
        keep_for_good()
        for name, pty in self.demo.ptys.items():
            self.take(LinkIs(name, LinkChange(LinkState.OPEN, None), 0))
            self.take(Arrived(name, b"\0" + pty.firmware.boot(self.now_s)))
        self.advance(1.0)

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        if b'"id":"nw-' in payload and b'"q":"stale"' not in payload:
            self.took_ms.append((time.perf_counter() - self.began) * 1e3)
            self.busy_ms.append((time.thread_time() - self.began_busy) * 1e3)

    def reply(self, request, payload):
        """Nobody asks."""

    def take(self, what):
        at_ns = round(self.now_s * NS) + NS
        wall_ns = int(datetime.now(UTC).timestamp()) * NS
        self.workings.take(Moment(MonotonicNs(at_ns), wall_ns), what)

    def advance(self, seconds):
        end_s = self.now_s + seconds
        while self.now_s < end_s - 1e-9:
            self.now_s = min(self.now_s + TICK_S, end_s)
            came = {name: pty.firmware.run(self.now_s) for name, pty in self.demo.ptys.items()}
            self.began, self.began_busy = time.perf_counter(), time.thread_time()
            for name, data in came.items():
                if data:
                    self.take(Arrived(name, data))

    def put_on(self, name, wheel):
        bay = self.workings.bay
        bay.put_on(bay.named(name), None if wheel is None else Wheel(wheel.axle, wheel.side))

    def set_up(self, axles):
        """Move the heads to two axles, compensate those that are new there, let them down."""
        technician = self.demo.technician
        for wheel in [wheel for wheel in self.on if wheel.axle not in axles]:
            name = self.on.pop(wheel)
            technician.dismount(self.demo.heads[name])
            self.began, self.began_busy = time.perf_counter(), time.thread_time()
            self.put_on(name, None)
        self.advance(0.5)
        fresh = [axle for axle in axles if axle not in {wheel.axle for wheel in self.on}]
        free = [name for name in HEADS if name not in self.on.values()]
        wheels = [WheelAt(axle, side) for axle in fresh for side in Side]
        new = dict(zip(wheels, free, strict=False))
        for wheel, name in new.items():
            self.on[wheel] = name
            technician.mount(self.demo.heads[name], wheel)
            self.put_on(name, wheel)
        for axle in fresh:
            technician.jack(axle)
        self.advance(2.5)
        self._turn(new)
        for axle in fresh:
            technician.lower(axle)
        self.advance(6.0)

    def _turn(self, on):
        bay, technician = self.workings.bay, self.demo.technician
        for name in on.values():
            assert bay.work.begin(bay.named(name)).ok
        for steps in zip(*(technician.stops(wheel, 3) for wheel in on), strict=True):
            self.advance(max(step.wait_s for step in steps) + 1.0)
        for name in on.values():
            assert bay.work.end(bay.named(name)).ok
