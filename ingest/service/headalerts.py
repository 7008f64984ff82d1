"""What a person should know about a head: its record, its channels, its conduct."""

from ingest.core.channels import Channel
from ingest.core.errors import LinkSilent
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, LinkSlot
from ingest.service.came import Came
from ingest.service.conduct import CODES
from ingest.service.instrument import UNCALIBRATED
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.wheelbench import LOW_PERCENT
from ingest.wire.codes import StatusBit

STEP_OFF = (0.25, 4.0)
"""Beyond these shares of the stated step it is another unit, not another rate."""
AZIMUTHS = (Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK)
CHARGED_PERCENT = LOW_PERCENT + 5
"""A battery that was low is not any more from here on: what it says of itself goes up and down."""
UNANSWERED = 3
"""So many pings in a row may a head leave unanswered: one may be lost on its way."""


class HeadAlerts:
    """Raises alerts about heads, and takes them back."""

    def __init__(self, alerts: Alerts, announcer: Announcer) -> None:
        self._alerts = alerts
        self._announcer = announcer

    def record(self, head: BayHead) -> None:
        """Say what is wrong with a head's record, under a code that outlives its names."""
        self._zeros(head)
        name, instrument, code = head.name, head.instrument, f"record-{head.id}"
        doubts = list(instrument.doubts(self._announcer.today()))
        if not doubts:
            self._alerts.clear(code)
        elif doubts[0][0] == UNCALIBRATED:
            self._alerts.set(code, "note", f"head {name} {doubts[0][1]}", head=name)
        else:
            told = "; ".join(words for _, words in doubts)
            self._alerts.set(code, "warning", f"head {name}: {told}", head=name)

    def _zeros(self, head: BayHead) -> None:
        """Name the azimuths whose zero the record leaves open: none of their sightlines is used."""
        record, code = head.instrument.record, f"zeros-{head.id}"
        blind = [c.value for c in AZIMUTHS if head.instrument.zero_open(c.value)]
        if record is None or not blind:
            self._alerts.clear(code)
            return
        text = (
            f"head {head.name}: {record.record_id} leaves the zero of {' and '.join(blind)} open, "
            "and no sightline of it is used; calibrate it on the bar, or with a stated seat"
        )
        self._alerts.set(code, "warning", text, head=head.name)

    def channels(self, head: BayHead) -> None:
        """Name the channels that cannot be used."""
        name = head.name
        code = f"channels-{name}".replace("_", "-")[:32]
        channels = head.hello.channels
        unknown = [info for info in channels if info.channel is None]
        if not unknown:
            self._alerts.clear(code)
            return
        said = ", ".join(f"{info.code}: {info.mismatch}" for info in unknown)
        if len(unknown) < len(channels):
            text = f"head {name} declares channels that cannot be used ({said}); others are used"
            self._alerts.set(code, "note", text, head=name)
        else:
            text = f"head {name} gives nothing: none of its channels can be used ({said})"
            self._alerts.set(code, "warning", text, head=name)

    def link(self, slot: LinkSlot, change: LinkChange) -> None:
        """Say that a link is away and why, or that it is there again."""
        code = f"link-{slot.number}"
        if change.state is LinkState.OPEN:
            self._alerts.clear(code)
            return
        text = f"{slot.name}: {change.state.value}" if change.error is None else str(change.error)
        if isinstance(change.error, LinkSilent):
            text = f"{text}; {Came.of(slot.counters).since(slot.opened)}"
        self._alerts.set(code, "warning", text)

    def refused(self, slot: LinkSlot) -> None:
        """Say why whoever speaks on a link is not heard, or that it is heard."""
        code = f"head-{slot.number}"
        if slot.refused is None:
            self._alerts.clear(code)
        else:
            self._alerts.set(code, "warning", slot.refused)

    def came(self, slot: LinkSlot, took_s: float) -> None:
        """Say what is wrong with what came over a link in the last ``took_s`` seconds."""
        self._conduct(slot, took_s)
        self._nameless(slot, took_s)
        self._sensor(slot)
        self._battery(slot)
        self._pings(slot)
        self._look(slot)

    def _nameless(self, slot: LinkSlot, took_s: float) -> None:
        """Say that sound frames come over a link and none says whose."""
        code = f"nameless-{slot.number}"
        why = slot.nameless.why(
            slot.counters,
            took_s,
            expected=slot.state is LinkState.OPEN and slot.refused is None,
            named=slot.feed.hello is not None,
        )
        if not why:
            self._alerts.clear(code)
        elif code not in self._alerts.active:
            self._alerts.set(code, "warning", f"{slot.name}: {why}")

    def _look(self, slot: LinkSlot) -> None:
        """Say what samples show before any filter."""
        head = slot.head
        online = head is not None and head.online
        declared = head.hello.channels if head is not None and online else ()
        step_us, mute = slot.feed.look.told(c.channel for c in declared if c.channel)
        told = f"gives no value on {', '.join(sorted(mute))}, which it declares; look after it"
        self._say_or_clear(f"silent-{slot.number}", head, told if mute else "")
        self._say_or_clear(
            f"step-{slot.number}", head, _why_step(head, step_us if online else None)
        )

    def _say_or_clear(self, code: str, head: BayHead | None, text: str) -> None:
        if head is None or not text:
            self._alerts.clear(code)
        else:
            whole = f"head {head.name} on {head.slot.name} {text}"
            self._alerts.set(code, "warning", whole, head=head.name)

    def _sensor(self, slot: LinkSlot) -> None:
        """Say that a head distrusts its own sensor."""
        head = slot.head
        health = None if head is None or not head.online else head.health
        failing = health is not None and bool(health.status & StatusBit.SENSOR_FAULT)
        text = (
            "says that a sensor of its own fails; its values are not used until that is over; "
            "look after its wiring"
        )
        self._say_or_clear(f"sensor-{slot.number}", head, text if failing else "")

    def _battery(self, slot: LinkSlot) -> None:
        """Say that a head's battery is low, silent or not."""
        head, code = slot.head, f"battery-{slot.number}"
        charge = None if head is None or head.health is None else head.health.battery_percent
        least = CHARGED_PERCENT if code in self._alerts.active else LOW_PERCENT
        text = (
            f"says that its battery is low, {LOW_PERCENT} % or less; charge it, or have another at "
            "hand: what it measures breaks off when it is empty"
        )
        self._say_or_clear(code, head, text if charge is not None and charge <= least else "")

    def _pings(self, slot: LinkSlot) -> None:
        """Say that a head leaves clock pings unanswered."""
        in_a_row = slot.trips.unanswered_in_a_row
        text = (
            f"has left its last {in_a_row} clock pings unanswered, so nobody knows how long its "
            "samples are on their way; it must answer each (SPEC.md, section 5.6)"
        )
        head = slot.head if slot.head is not None and slot.head.online else None
        self._say_or_clear(f"pings-{slot.number}", head, text if in_a_row >= UNANSWERED else "")

    def _conduct(self, slot: LinkSlot, took_s: float) -> None:
        """Say what speaks on a link does otherwise than it says."""
        head, steady, stated_hz = slot.head, False, 0.0
        who, name = f"what speaks on {slot.name}", None
        if head is not None:
            who, name = f"head {head.name} on {slot.name}", head.name
            steady = head.online and head.hello.streaming
            stated_hz = head.hello.rate_dhz / 10.0
        found = slot.conduct.faults(
            slot.counters,
            slot.values,
            slot.restarts,
            took_s,
            stated_hz,
            steady=steady,
            beyond_ppm=None if slot.feed.chain is None else slot.feed.chain.clock.beyond_ppm,
        )
        for word in CODES:
            code = f"{word}-{slot.number}"
            if word in found:
                self._alerts.set(code, "warning", f"{who} {found[word]}", head=name)
            else:
                self._alerts.clear(code)


def _why_step(head: BayHead | None, step_us: float | None) -> str:
    if head is None or step_us is None or not head.hello.rate_dhz:
        return ""
    stated_us = 1e7 / head.hello.rate_dhz
    if STEP_OFF[0] < step_us / stated_us < STEP_OFF[1]:
        return ""
    return (
        f"says times that do not step as its rate: t_us counts microseconds, and a sample takes "
        f"{stated_us:.0f} of them, not {step_us:.4g}"
    )
