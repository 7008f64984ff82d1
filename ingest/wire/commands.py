"""What the host says to a head."""

import struct
from dataclasses import dataclass

from ingest.core.counters import FrameFault
from ingest.wire.codes import CommandOp, MessageType

_PING = struct.Struct("<BBH")
_COMMAND = struct.Struct("<BBHH")


@dataclass(frozen=True, slots=True)
class ClockPing:
    """Asks for the head's clock. The host keeps the time at which it sent this id."""

    ping_id: int

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return _PING.pack(MessageType.CLOCK_PING, 0, self.ping_id)

    @classmethod
    def from_body(cls, body: bytes) -> "ClockPing | FrameFault":
        """Read the body of a ping, or say what is wrong with it."""
        if len(body) < _PING.size:
            return FrameFault.LENGTH
        _, _, ping_id = _PING.unpack_from(body)
        return cls(ping_id)


@dataclass(frozen=True, slots=True)
class Command:
    """Asks a head to do something; it answers with an ``Ack`` or a ``Refusal`` of that id.

    ``op`` is a ``CommandOp`` (a head meets newer ones too, and refuses them); ``value`` is
    what the operation says it is, 0 where it needs none.
    """

    op: int
    command_id: int
    value: int = 0

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return _COMMAND.pack(MessageType.COMMAND, self.op, self.command_id, self.value)

    @classmethod
    def from_body(cls, body: bytes) -> "Command | FrameFault":
        """Read the body of a command, or say what is wrong with it."""
        if len(body) < _COMMAND.size:
            return FrameFault.LENGTH
        _, op, command_id, value = _COMMAND.unpack_from(body)
        return cls(op, command_id, value)


def identify(command_id: int, *, duration_s: float) -> Command:
    """Return the command that makes a head show itself for a while (0.1 s steps)."""
    return Command(CommandOp.IDENTIFY, command_id, round(duration_s * 10))


def set_rate(command_id: int, *, rate_hz: float) -> Command:
    """Return the command that sets the sample rate (0.1 Hz steps)."""
    return Command(CommandOp.RATE, command_id, round(rate_hz * 10))
