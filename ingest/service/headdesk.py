"""What is said of a head: whether it is there, what it is, how its link does."""

from calibration.records.text import AnyRecord
from ingest.core.channels import CHANNELS, Channel
from ingest.core.counters import FrameFault
from ingest.core.ids import HeadName
from ingest.core.ports import LinkForm
from ingest.core.units import NS
from ingest.payload.cal import CalLatest
from ingest.payload.head import (
    CalibrationMeta,
    ChannelMeta,
    HeadLink,
    HeadMeta,
    HeadStatus,
    LinkKind,
)
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, condition
from ingest.wire.hello import ChannelInfo
from ingest.wire.reports import Status

_CODES_PER_UNIT = 1e-4
LINK_KINDS: dict[LinkForm, LinkKind] = {LinkForm.STREAM: "serial", LinkForm.BODIES: "ble"}
_UNITS = {Channel.TEMPERATURE: "Cel"}


class HeadDesk:
    """Publishes what is known of heads, each thing when it changes."""

    def __init__(self, announcer: Announcer) -> None:
        self._announcer = announcer

    def status(self, head: BayHead) -> None:
        """Publish whether the head is there and on which wheel, when that changed."""
        state, quality, why = condition(head, self._announcer.today())
        said = (head.name, state, why, head.wheel)
        if said == head.said:
            return
        head.said = said
        wheel = head.wheel
        self._announcer.state(
            self._announcer.topics.head_status(head.name),
            HeadStatus(
                **self._announcer.moment(),
                state=state,
                hid=head.id,
                axle=None if wheel is None else wheel.axle,
                side=None if wheel is None else wheel.side.value,
                q=quality,
                why=why,
            ),
        )

    def describe(self, head: BayHead) -> None:
        """Publish identity, channels and calibration."""
        hello, record = head.hello, head.instrument.record
        topics, moment = self._announcer.topics, self._announcer.moment()
        self._announcer.state(
            topics.head_meta(head.name),
            HeadMeta(
                **moment,
                name=head.name,
                hid=head.id,
                model="",
                serial=head.id,
                fw=hello.firmware,
                proto=hello.major,
                boot=hello.boot,
                link=LINK_KINDS[head.slot.feed.form],
                channels=tuple(filter(None, map(_channel_meta, hello.channels))),
                cal=None if record is None else _calibration_meta(record),
            ),
        )
        if record is not None:
            quality, why = head.instrument.trust(self._announcer.today())
            self._announcer.state(
                topics.cal(head.name),
                CalLatest(
                    **moment,
                    id=record.record_id,
                    sha256=record.sha256,
                    issued=record.issued.isoformat(),
                    due=None if record.due is None else record.due.isoformat(),
                    result="none" if record.version == 1 else record.result,
                    q=quality,
                    why=why,
                ),
            )

    def forget(self, name: HeadName) -> None:
        """Clear the topics under a name that no head has any longer."""
        topics = self._announcer.topics
        names = [topics.reading(name, channel) for channel in CHANNELS]
        names += [topics.head_meta(name), topics.head_link(name)]
        names += [topics.head_status(name), topics.head_runout(name)]
        names.append(topics.head_sweep(name))
        for topic in [*names, topics.cal(name)]:
            self._announcer.clear(topic)

    def link(self, head: BayHead, since_s: float) -> None:
        """Publish the health of the head's frames over the last ``since_s`` seconds."""
        slot = head.slot
        counters, chain, health = slot.counters, slot.feed.chain, head.health
        rate_hz = (counters.samples - slot.samples_before) / since_s
        slot.samples_before = counters.samples
        _, quality, why = condition(head, self._announcer.today())
        faults = {f"bad_{fault.value}": counters.faults[fault] for fault in FrameFault}
        topic = self._announcer.topics.head_link(head.name)
        drift = None if chain is None else chain.clock.drift_ppm
        bound_ns = None if chain is None else chain.clock.bound_ns
        trip_ns = head.slot.trips.least_ns
        gap_ms = round(slot.longest_gap_ns * 1e3 / NS, 1)
        slot.longest_gap_ns = 0
        message = HeadLink(
            **self._announcer.moment(),
            **self._announcer.serial(topic),
            link=LINK_KINDS[head.slot.feed.form],
            rate_hz=round(rate_hz, 1),
            rx=counters.frames,
            lost=counters.lost,
            dup=counters.duplicates,
            dropped=counters.dropped,
            reboots=counters.reboots,
            jumps=counters.jumps,
            orphan=counters.orphans,
            stray=counters.strayed,
            flood=counters.flooded,
            reconn=counters.reconnects,
            **faults,
            gap_ms=gap_ms if head.online else None,
            clk_ppm=None if drift is None else round(drift, 1),
            clk_ms=None if bound_ns is None else round(bound_ns * 1e-6, 3),
            trip_ms=None if trip_ns is None else round(trip_ns * 1e-6, 3),
            unanswered=slot.trips.unanswered,
            rssi_dbm=None,
            batt_pct=None if health is None else health.battery_percent,
            temp=_degc(health),
            q=quality,
            why=why,
        )
        self._announcer.live(topic, message, message.ttl)


def _channel_meta(info: ChannelInfo) -> ChannelMeta | None:
    channel = info.channel
    if channel is None:
        return None
    return ChannelMeta(
        channel=channel.value,
        unit=_UNITS.get(channel, "deg"),
        lo=info.low * _CODES_PER_UNIT,
        hi=info.high * _CODES_PER_UNIT,
        rate_hz=info.rate_dhz / 10,
    )


def _calibration_meta(record: AnyRecord) -> CalibrationMeta:
    return CalibrationMeta(
        id=record.record_id, sha256=record.sha256, issued=record.issued.isoformat()
    )


def _degc(health: Status | None) -> float | None:
    if health is None or health.temperature_cdegc is None:
        return None
    return health.temperature_cdegc / 100
