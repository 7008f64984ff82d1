"""All messages of the protocol, bodies to values and back."""

import struct
from collections.abc import Callable

from ingest.core.counters import FrameFault
from ingest.wire.codes import MessageType
from ingest.wire.commands import ClockPing, Command
from ingest.wire.hello import Hello
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status
from ingest.wire.sample import Batch, Sample

Report = Hello | Status | Event | ClockPong | Ack | Refusal
"""What a head says beside its samples."""

Message = Report | Sample | Batch | ClockPing | Command

_REPORTS: dict[int, Callable[[bytes], Report | FrameFault]] = {
    MessageType.HELLO: Hello.from_body,
    MessageType.STATUS: Status.from_body,
    MessageType.EVENT: Event.from_body,
    MessageType.CLOCK_PONG: ClockPong.from_body,
    MessageType.ACK: Ack.from_body,
    MessageType.REFUSAL: Refusal.from_body,
}
_OTHERS: dict[int, Callable[[bytes], Message | FrameFault]] = {
    MessageType.SAMPLE_0: Sample.from_body,
    MessageType.SAMPLE_1: Sample.from_body,
    MessageType.BATCH: Batch.from_body,
    MessageType.CLOCK_PING: ClockPing.from_body,
    MessageType.COMMAND: Command.from_body,
}


def encode(message: Message) -> bytes:
    """Return the body of a message. Raises ValueError when a field does not fit its place."""
    try:
        return message.to_body()
    except (struct.error, OverflowError) as error:
        raise ValueError(f"{type(message).__name__}: {error}") from error


def decode(body: bytes) -> Message | FrameFault:
    """Read one body (no CRC, no COBS), or say what is wrong with it. Never raises."""
    if not body:
        return FrameFault.SHORT
    reader = _OTHERS.get(body[0], decode_report)
    return reader(body)


def decode_report(body: bytes) -> Report | FrameFault:
    """Read the body of a report; anything else is a type that the caller does not want."""
    reader = _REPORTS.get(body[0])
    return FrameFault.TYPE if reader is None else reader(body)
