"""A bay with simulated heads in simulated time: hours pass in seconds, nothing sleeps."""

import json
import time
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from ingest.commands.demo_rig import DemoRig, build, draw_heads
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import vehicle_called
from ingest.core.ids import HeadId, HeadName, MonotonicNs
from ingest.core.ports import Chunk, LinkForm, NameTaken
from ingest.core.published import PublishedResults
from ingest.core.units import NS
from ingest.payload.topics import Topics
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay
from ingest.service.bayhead import BayHead
from ingest.service.baysettings import BaySettings
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.simulator.practice import Practice, Trouble
from ingest.store.database import open_database
from ingest.store.records import StoredRecords
from ingest.wire.codes import CommandOp
from ingest.wire.commands import Command
from ingest.wire.framing import frame
from ingest.wire.messages import encode

TICK_S = 0.5
"""So much arrives at once: half a second, as from a link that was held up. The cut of the stream
does not show in what is measured (``tests/chain``), and fewer pieces take less time."""
ASK_HELLO = b"\0" + frame(encode(Command(CommandOp.HELLO, 1)))
WALL_NS = time.time_ns()
"""Simulated records are issued and fall due by the host's date."""


@dataclass
class Clock:
    """Simulated time."""

    now_s: float = 0.0

    def __call__(self) -> float:
        return self.now_s

    def ns(self) -> MonotonicNs:
        return MonotonicNs(round(self.now_s * NS) + NS)


@dataclass
class Heard:
    """An outlet that remembers: every message, and what is retained."""

    messages: list[tuple[str, bytes, bool, int]] = field(default_factory=list)
    retained: dict[str, dict[str, Any]] = field(default_factory=dict)

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        self.messages.append((topic, payload, retain, qos))
        if retain and payload:
            self.retained[topic] = json.loads(payload)
        elif retain:
            self.retained.pop(topic, None)

    def of(self, topic: str) -> list[dict[str, Any]]:
        return [json.loads(p) for t, p, _, _ in self.messages if t == topic and p]


@dataclass
class Names:
    """Head names in memory."""

    by_id: dict[HeadId, HeadName] = field(default_factory=dict)

    def name_of(self, head: HeadId) -> HeadName | None:
        return self.by_id.get(head)

    def head_named(self, name: HeadName) -> HeadId | None:
        return next((h for h, n in self.by_id.items() if n == name), None)

    def set_name(self, head: HeadId, name: HeadName) -> None:
        holder = self.head_named(name)
        if holder is not None and holder != head:
            raise NameTaken(name, holder)
        self.by_id[head] = name


class SimulatedBay:
    """Rig, heads' firmware and bay, all driven by one simulated clock."""

    def __init__(
        self,
        seed: int,
        vehicle: str = "rigid-8x4",
        *,
        with_records: bool = True,
        settings: BaySettings | None = None,
        published: PublishedResults | None = None,
        rate_hz: float = 100.0,
        troubles: Collection[Trouble] | None = None,
        tick_s: float = TICK_S,
    ) -> None:
        self.clock = Clock()
        self.tick_s = tick_s
        self.practice: Practice | None = None
        if troubles is None:
            self.demo: DemoRig = build(seed, vehicle, self.clock, rate_hz)
        else:
            file = vehicle_called(vehicle, None)
            heads = draw_heads(seed)
            self.practice = practice_on(file, seed, troubles, self.clock, heads)
            self.demo = build(
                seed, vehicle, self.clock, rate_hz, self.practice.vehicle, heads=heads
            )
        self.outlet = Heard()
        self.topics = Topics("sim")
        self.names = Names({h.design.head: HeadName(n) for n, h in self.demo.heads.items()})
        self.records = StoredRecords(open_database(":memory:"))
        for text in self.demo.records if with_records else []:
            self.records.add(text, "simulated bench")
        self.announcer = Announcer(self.topics, self.outlet, self.clock.ns, self._wall, "b-1")
        forms = dict.fromkeys(self.demo.ptys, LinkForm.STREAM)
        self.bay = Bay(
            settings or BaySettings(), forms, self.announcer, self.names, self.records, published
        )
        self.silent: set[str] = set()
        for name, pty in self.demo.ptys.items():
            self.bay.link_changed(name, LinkChange(LinkState.OPEN, None))
            self.give(name, b"\0" + pty.firmware.boot(self.clock()))
        self.advance(0.5)

    def _wall(self) -> int:
        return WALL_NS + self.clock.ns()

    def give(self, name: str, data: bytes) -> None:
        """Let bytes of a head arrive."""
        if data:
            self.bay.take(name, Chunk(data, self.clock.ns()))

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        end_s = self.clock.now_s + seconds
        while self.clock.now_s < end_s - 1e-9:
            self.clock.now_s = min(self.clock.now_s + self.tick_s, end_s)
            for name, pty in self.demo.ptys.items():
                data = pty.firmware.run(self.clock.now_s)
                if name not in self.silent:
                    self.give(name, data)
                    if self.bay.slots[name].feed.hello is None:
                        self.give(name, pty.firmware.receive(ASK_HELLO, self.clock.now_s))

    def head(self, name: str) -> BayHead:
        """Return a head of the bay."""
        head = self.bay.named(name)
        assert head is not None
        return head

    def press(self, name: str) -> None:
        """Press a head's button."""
        self.give(name, self.demo.ptys[name].firmware.press(self.clock()))
