"""What is said of one head: whether it is there, what it is, its link, its readings."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from ingest.payload.base import (
    UNTRUSTED,
    Count,
    HardwareId,
    Id,
    Judged,
    Level,
    NonNegative,
    Number,
    Part,
    Sha256,
    SideWord,
    Stamped,
    Unit,
)

LinkKind = Literal["serial", "ble", "replay"]


class HeadStatus(Judged):
    """``head/{head}/status``: written by the service, also on the head's behalf."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "state": "offline"})

    state: Literal["online", "offline", "degraded"]
    hid: HardwareId
    axle: int | None = Field(default=None, ge=1)
    side: SideWord | None = None
    """The wheel it is on; both None while it is on none."""

    @model_validator(mode="after")
    def _whole_wheel(self) -> Self:
        if (self.axle is None) != (self.side is None):
            raise ValueError("axle and side go together")
        return self


class ChannelMeta(Part):
    """One channel as its head describes it."""

    channel: Level
    unit: Unit
    lo: Number | None
    hi: Number | None
    rate_hz: NonNegative


class CalibrationMeta(Part):
    """The calibration record that is applied."""

    id: Id
    sha256: Sha256
    issued: str


class HeadMeta(Stamped):
    """``head/{head}/meta``: identity and calibration in short. May nest."""

    name: Level
    hid: HardwareId
    model: str = Field(max_length=32)
    serial: str = Field(max_length=32)
    fw: str = Field(max_length=32)
    proto: int = Field(ge=0)
    boot: Count
    """The head's own boot number, drawn anew at each of its starts."""
    link: LinkKind
    channels: tuple[ChannelMeta, ...]
    cal: CalibrationMeta | None


class HeadLink(Judged):
    """``head/{head}/link``: health of the frames, once a second."""

    boot: Id
    seq: Count
    link: LinkKind
    rate_hz: NonNegative
    """Samples that came in the last second."""
    rx: Count
    """Sound frames since the service started; so are all counts below."""
    lost: Count
    """Samples missing by their numbers."""
    dup: Count
    """Samples that came twice or out of order, dropped."""
    dropped: Count
    """Chunks of bytes dropped because the service could not keep up."""
    reboots: Count
    """Starts of the head."""
    jumps: Count
    """Jumps of the head's clock without a start of the head."""
    orphan: Count = 0
    """Sound messages that could not be used: no hello, or of another start of the head."""
    stray: Count
    """Samples with a value outside the range that the head declares."""
    flood: Count
    """Bytes beyond what any head has to say, dropped unread."""
    reconn: Count
    """How often the link was opened anew."""
    bad_cobs: Count
    """Frames dropped: not valid COBS."""
    bad_short: Count
    """Frames dropped: too short to hold a type and a CRC."""
    bad_crc: Count
    """Frames dropped: the CRC does not match."""
    bad_long: Count
    """Frames dropped: no end within the largest frame."""
    bad_type: Count
    """Messages of a type that this program does not know."""
    bad_length: Count
    """Messages shorter than their fields."""
    bad_value: Count
    """Messages with a field outside what SPEC.md allows."""
    gap_ms: NonNegative | None
    """Longest pause between arrivals in the last second."""
    clk_ppm: Number | None
    """Rate of the head's clock against this host's, held within ±200; an alert says beyond."""
    clk_ms: NonNegative | None
    """How far its times may be off, apart from what every sample takes on its way: that is
    ``trip_ms`` at most."""
    trip_ms: NonNegative | None = None
    """Least round trip of the clock pings of the last minute."""
    unanswered: Count = 0
    """Clock pings that the head left unanswered; one goes out every 10 s."""
    rssi_dbm: Number | None
    """Strength of a radio link."""
    batt_pct: NonNegative | None
    """Charge of the head's battery."""
    temp: Number | None
    """Temperature inside the head, degrees Celsius."""
    ttl: NonNegative = 5
    """Seconds after which a display must not show it as true any more."""


class Reading(Judged):
    """``head/{head}/{channel}``: a filtered reading. Nothing is decided on a reading.

    An angle has three decimals at least, however large its ``U``, so that a head can be watched as
    it moves; ``U`` says how far it may be off as a whole, and has two digits of its own.
    """

    boot: Id
    seq: Count
    """Counts this topic's messages since the service's start; with ``boot`` it names one."""
    value: Number | None
    unit: Unit
    U: NonNegative | None
    k: NonNegative | None
    dp: int = Field(ge=0, le=9)
    rate: Number | None
    """Change per second, in the unit of the value."""
    still: bool
    cal: Id | None
    dec: Literal["none"] = "none"
    lag_ms: NonNegative
    ttl: NonNegative

    @model_validator(mode="after")
    def _no_value_no_trust(self) -> Self:
        if self.value is None and self.q not in UNTRUSTED:
            raise ValueError(f"no value, and q is {self.q}")
        if self.U is not None and self.k is None:
            raise ValueError("U without its k")
        return self
