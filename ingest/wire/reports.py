"""What a head says beside its samples: health, the button, the clock, answers."""

import struct
from dataclasses import dataclass

from ingest.core.counters import FrameFault
from ingest.wire.codes import EventCode, MessageType

NO_BATTERY = 0xFF
NO_TEMPERATURE = -(1 << 15)

_STATUS = struct.Struct("<BBBBIhHHH")
_EVENT = struct.Struct("<BBHIBB")
_PONG = struct.Struct("<BBHII")
_ANSWER = struct.Struct("<BBHBBH")
_EVENT_CODES = frozenset(map(int, EventCode))


@dataclass(frozen=True, slots=True)
class Status:
    """Health of a head. The counters stop at 65535; they start at 0 with each boot."""

    status: int
    t_us: int
    battery_percent: int | None
    temperature_cdegc: int | None
    """Inside the head, in 0.01 degC."""
    sensor_errors: int
    """Readings that a sensor failed to give."""
    samples_dropped: int
    """Samples that the head could not send in time."""
    frames_rejected: int
    """Frames from the host that the head dropped."""

    def to_body(self) -> bytes:
        """Return the body of the message."""
        battery = NO_BATTERY if self.battery_percent is None else self.battery_percent
        cdegc = NO_TEMPERATURE if self.temperature_cdegc is None else self.temperature_cdegc
        return _STATUS.pack(
            MessageType.STATUS,
            self.status,
            battery,
            0,
            self.t_us,
            cdegc,
            self.sensor_errors,
            self.samples_dropped,
            self.frames_rejected,
        )

    @classmethod
    def from_body(cls, body: bytes) -> "Status | FrameFault":
        """Read the body of a status, or say what is wrong with it."""
        if len(body) < _STATUS.size:
            return FrameFault.LENGTH
        _, status, battery, _, t_us, cdegc, errors, dropped, rejected = _STATUS.unpack_from(body)
        if battery > 100 and battery != NO_BATTERY:
            return FrameFault.VALUE
        return cls(
            status=status,
            t_us=t_us,
            battery_percent=None if battery == NO_BATTERY else battery,
            temperature_cdegc=None if cdegc == NO_TEMPERATURE else cdegc,
            sensor_errors=errors,
            samples_dropped=dropped,
            frames_rejected=rejected,
        )


@dataclass(frozen=True, slots=True)
class Event:
    """Somebody did something at the head, at ``t_us``, after sample ``seq`` was taken."""

    status: int
    seq: int
    t_us: int
    code: EventCode
    number: int
    """Counts the events of this boot modulo 256; a repeat has the same number."""

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return _EVENT.pack(
            MessageType.EVENT, self.status, self.seq, self.t_us, self.code, self.number
        )

    @classmethod
    def from_body(cls, body: bytes) -> "Event | FrameFault":
        """Read the body of an event, or say what is wrong with it."""
        if len(body) < _EVENT.size:
            return FrameFault.LENGTH
        _, status, seq, t_us, code, number = _EVENT.unpack_from(body)
        if code not in _EVENT_CODES:
            return FrameFault.VALUE
        return cls(status, seq, t_us, EventCode(code), number)


@dataclass(frozen=True, slots=True)
class ClockPong:
    """The head's clock when it got a ping, and when it sent this."""

    status: int
    ping_id: int
    received_us: int
    sent_us: int

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return _PONG.pack(
            MessageType.CLOCK_PONG, self.status, self.ping_id, self.received_us, self.sent_us
        )

    @classmethod
    def from_body(cls, body: bytes) -> "ClockPong | FrameFault":
        """Read the body of a pong, or say what is wrong with it."""
        if len(body) < _PONG.size:
            return FrameFault.LENGTH
        _, status, ping_id, received_us, sent_us = _PONG.unpack_from(body)
        return cls(status, ping_id, received_us, sent_us)


@dataclass(frozen=True, slots=True)
class Ack:
    """The head did what a command asked; ``value`` is what is now in force."""

    status: int
    command_id: int
    op: int
    value: int = 0

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return _ANSWER.pack(MessageType.ACK, self.status, self.command_id, self.op, 0, self.value)

    @classmethod
    def from_body(cls, body: bytes) -> "Ack | FrameFault":
        """Read the body of an acknowledgement, or say what is wrong with it."""
        if len(body) < _ANSWER.size:
            return FrameFault.LENGTH
        _, status, command_id, op, _, value = _ANSWER.unpack_from(body)
        return cls(status, command_id, op, value)


@dataclass(frozen=True, slots=True)
class Refusal:
    """The head did not; ``reason`` is a ``RefusalReason`` (or one that is newer than we are).

    ``value`` is the nearest value it would take, where there is one.
    """

    status: int
    command_id: int
    op: int
    reason: int
    value: int = 0

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return _ANSWER.pack(
            MessageType.REFUSAL, self.status, self.command_id, self.op, self.reason, self.value
        )

    @classmethod
    def from_body(cls, body: bytes) -> "Refusal | FrameFault":
        """Read the body of a refusal, or say what is wrong with it."""
        if len(body) < _ANSWER.size:
            return FrameFault.LENGTH
        _, status, command_id, op, reason, value = _ANSWER.unpack_from(body)
        return cls(status, command_id, op, reason, value)
