"""The hello: who a head is, which start of it this is, and what its channels mean."""

import struct
from dataclasses import dataclass

from ingest.core.channels import CHANNELS, CIRCULAR, Channel
from ingest.core.counters import FrameFault
from ingest.core.ids import BootId, HeadId
from ingest.wire.codes import PROTOCOL_MAJOR, Kind, MessageType, Mounting, Unit

MAX_CHANNELS = 16
MAX_RATE_DHZ = 10_000
"""The fastest that a head may sample, in 0.1 Hz."""

SCALE_EXPONENT = -4
"""The power of ten of every channel in version 1."""

_FROZEN = struct.Struct("<BBBB8sI24s")
"""What stays where it is in every version, so that any receiver can refuse by name."""
_REST = struct.Struct("<HBBB")
_ENTRY = struct.Struct("<BBHbBHii")
_STREAMING = 1
_NO_IDENTITY = (b"\0" * 8, b"\xff" * 8)
_MOUNTINGS = frozenset(map(int, Mounting))


def _kind_and_unit(channel: Channel) -> tuple[Kind, Unit]:
    if channel is Channel.TEMPERATURE:
        return Kind.TEMPERATURE, Unit.CELSIUS
    return (Kind.CIRCULAR if channel in CIRCULAR else Kind.ELEVATION), Unit.DEGREE


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """One channel as its head declares it, understood or not.

    ``low`` and ``high`` are the range in codes (1e-4 deg or 1e-4 degC), both included;
    ``rate_dhz`` is how often its value is fresh, in 0.1 Hz.
    """

    code: int
    kind: int
    unit: int
    exponent: int
    rate_dhz: int
    low: int
    high: int

    @classmethod
    def of(cls, channel: Channel, *, rate_dhz: int, low: int, high: int) -> "ChannelInfo":
        """Return the declaration of a channel of version 1."""
        kind, unit = _kind_and_unit(channel)
        code = CHANNELS.index(channel)
        return cls(code, kind, unit, SCALE_EXPONENT, rate_dhz, low, high)

    @property
    def channel(self) -> Channel | None:
        """The channel, or None when this receiver cannot use it as it is declared."""
        if self.code >= len(CHANNELS) or self.exponent != SCALE_EXPONENT:
            return None
        channel = CHANNELS[self.code]
        return channel if (self.kind, self.unit) == _kind_and_unit(channel) else None

    @property
    def mismatch(self) -> str:
        """Say which field of the declaration is not that of version 1; empty where all are."""
        if self.code >= len(CHANNELS):
            return "unknown code"
        kind, unit = _kind_and_unit(CHANNELS[self.code])
        wrong = [
            f"{name} {found} for {wanted}"
            for name, found, wanted in (
                ("kind", self.kind, int(kind)),
                ("unit", f"{self.unit:#06x}", f"{int(unit):#06x}"),
                ("exponent", self.exponent, SCALE_EXPONENT),
            )
            if found != wanted
        ]
        return " and ".join(wrong)

    def to_bytes(self) -> bytes:
        """Return the entry of the hello."""
        return _ENTRY.pack(
            self.code, self.kind, self.unit, self.exponent, 0, self.rate_dhz, self.low, self.high
        )

    @classmethod
    def from_bytes(cls, body: bytes, offset: int) -> "ChannelInfo":
        """Read the entry at an offset of the body, which must hold it."""
        code, kind, unit, exponent, _, rate_dhz, low, high = _ENTRY.unpack_from(body, offset)
        return cls(code, kind, unit, exponent, rate_dhz, low, high)


_Rest = tuple[int, bool, tuple[ChannelInfo, ...]]
"""Rate, streaming and channels: what only a known major version has."""

_NOTHING_MORE: _Rest = (0, False, ())


@dataclass(frozen=True, slots=True)
class Hello:
    """A head introduces itself.

    Of an unknown major version only head, boot, firmware, major and minor mean anything.
    """

    head: HeadId
    boot: BootId
    firmware: str
    mounting: Mounting = Mounting.HANGING
    rate_dhz: int = 1000
    """Samples a second while it streams, in 0.1 Hz."""
    streaming: bool = True
    channels: tuple[ChannelInfo, ...] = ()
    major: int = PROTOCOL_MAJOR
    minor: int = 0

    @property
    def supported(self) -> bool:
        """Whether this receiver speaks the head's protocol."""
        return self.major == PROTOCOL_MAJOR

    def to_body(self) -> bytes:
        """Return the body of the message."""
        frozen = _FROZEN.pack(
            MessageType.HELLO,
            self.major,
            self.minor,
            self.mounting,
            bytes.fromhex(self.head),
            self.boot,
            self.firmware.encode("ascii"),
        )
        rest = _REST.pack(
            self.rate_dhz,
            _STREAMING if self.streaming else 0,
            len(self.channels),
            _ENTRY.size,
        )
        return frozen + rest + b"".join(entry.to_bytes() for entry in self.channels)

    @classmethod
    def from_body(cls, body: bytes) -> "Hello | FrameFault":
        """Read the body of a hello, or say what is wrong with it."""
        if len(body) < _FROZEN.size:
            return FrameFault.LENGTH
        _, major, minor, mounting, identity, boot, text = _FROZEN.unpack_from(body)
        known = major == PROTOCOL_MAJOR
        rest = _read_rest(body) if known else _NOTHING_MORE
        if isinstance(rest, FrameFault):
            return rest
        firmware = text.rstrip(b"\0")
        if identity in _NO_IDENTITY or not _is_printable(firmware):
            return FrameFault.VALUE
        if known and mounting not in _MOUNTINGS:
            return FrameFault.VALUE
        rate_dhz, streaming, channels = rest
        return cls(
            head=HeadId(identity.hex()),
            boot=BootId(boot),
            firmware=firmware.decode("ascii"),
            mounting=Mounting(mounting) if known else Mounting.HANGING,
            rate_dhz=rate_dhz,
            streaming=streaming,
            channels=channels,
            major=major,
            minor=minor,
        )


def _is_printable(text: bytes) -> bool:
    return all(0x20 <= byte <= 0x7E for byte in text)


def _read_rest(body: bytes) -> _Rest | FrameFault:
    start = _FROZEN.size + _REST.size
    if len(body) < start:
        return FrameFault.LENGTH
    rate_dhz, flags, count, size = _REST.unpack_from(body, _FROZEN.size)
    if len(body) < start + count * size:
        return FrameFault.LENGTH
    if size < _ENTRY.size or count > MAX_CHANNELS or not 1 <= rate_dhz <= MAX_RATE_DHZ:
        return FrameFault.VALUE
    channels = tuple(ChannelInfo.from_bytes(body, start + row * size) for row in range(count))
    twice = len({entry.code for entry in channels}) < count
    if twice or any(entry.low > entry.high for entry in channels):
        return FrameFault.VALUE
    return rate_dhz, bool(flags & _STREAMING), channels


def why_dropped(body: bytes) -> str:
    """Say in words why ``from_body`` drops the body of a hello; empty where it does not."""
    if len(body) < _FROZEN.size:
        return f"{len(body)} bytes, {_FROZEN.size} at least"
    _, major, _, mounting, identity, _, text = _FROZEN.unpack_from(body)
    if major == PROTOCOL_MAJOR and (wrong := _why_rest(body)):
        return wrong
    if identity in _NO_IDENTITY:
        return "no identity"
    if not _is_printable(text.rstrip(b"\0")):
        return "firmware text not printable ASCII, filled up with zeros"
    if major == PROTOCOL_MAJOR and mounting not in _MOUNTINGS:
        return f"mounting {mounting}"
    return ""


def _why_rest(body: bytes) -> str:
    start = _FROZEN.size + _REST.size
    if len(body) < start:
        return f"{len(body)} bytes, {start} at least"
    rate_dhz, _, count, size = _REST.unpack_from(body, _FROZEN.size)
    if size < _ENTRY.size:
        return f"channel entries of {size} bytes"
    if count > MAX_CHANNELS:
        return f"{count} channels"
    if len(body) < start + count * size:
        return f"{len(body)} bytes, {start + count * size} for its {count} channels"
    if not 1 <= rate_dhz <= MAX_RATE_DHZ:
        return f"rate {rate_dhz} x 0.1 Hz"
    channels = [ChannelInfo.from_bytes(body, start + row * size) for row in range(count)]
    if len({entry.code for entry in channels}) < count:
        return "a channel twice"
    swapped = [entry.code for entry in channels if entry.low > entry.high]
    return f"low above high in channel {swapped[0]}" if swapped else ""
