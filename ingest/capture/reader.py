"""Reads a capture, whole, torn or damaged: what can be read is read, the rest is said."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from mcap.exceptions import EndOfFile, InvalidMagic, McapError
from mcap.records import Channel, Chunk, DataEnd, Footer, Header, McapRecord, Message
from mcap.stream_reader import StreamReader, breakup_chunk

from ingest.capture.blocks import PROFILE
from ingest.core.errors import InputError
from ingest.core.recording import Record

LARGEST_RECORD = 16 * 1024 * 1024
"""Far above any that we write; a length beyond it is damage."""

DAMAGE = (McapError, ValueError, struct.error, OverflowError, MemoryError, EOFError, KeyError)


@dataclass(frozen=True, slots=True)
class Capture:
    """What a file holds. ``remarks`` say, a line each, what could not be read."""

    records: tuple[Record, ...]
    remarks: tuple[str, ...]


def read_capture(path: Path) -> Capture:
    """Read a capture.

    Raises:
        InputError: it cannot be opened, is no capture, or is one of another program.
    """
    try:
        with path.open("rb") as file:
            return _read(file, str(path))
    except OSError as error:
        raise InputError(str(path), None, error.strerror or "cannot be read") from error


class _Taker:
    """Takes what is inside the file, piece by piece."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self.damaged = 0
        self.ended = False
        self._channels: dict[int, str] = {}
        self._highest = 0

    def take(self, piece: McapRecord) -> None:
        if isinstance(piece, Chunk):
            try:
                inside = breakup_chunk(piece, validate_crc=True)
            except DAMAGE:
                self.damaged += 1
                return
            for each in inside:
                self.take(each)
        elif isinstance(piece, Channel):
            self._channels[piece.id] = piece.topic
        elif isinstance(piece, Message):
            self._message(piece)
        elif isinstance(piece, DataEnd | Footer):
            self.ended = True

    def _message(self, message: Message) -> None:
        self._highest = max(self._highest, message.sequence)
        topic = self._channels.get(message.channel_id)
        if topic is None:  # what said its topic was damaged
            self.damaged += 1
            return
        at_ns, wall_ns = message.publish_time, message.log_time
        self.records.append(Record(topic, message.data, at_ns, wall_ns))

    @property
    def missing(self) -> int:
        """Records known to be damaged, or missed in the count."""
        return max(self.damaged, self._highest - len(self.records))


def _read(file: BinaryIO, where: str) -> Capture:
    taker = _Taker()
    pieces = _pieces(file, where)
    while True:
        try:
            piece = next(pieces, None)
        except DAMAGE:
            break
        if piece is None:
            break
        taker.take(piece)
    remarks = _remarks(where, len(taker.records), taker.missing, taker.ended)
    return Capture(tuple(taker.records), tuple(remarks))


def _pieces(file: BinaryIO, where: str) -> Iterator[McapRecord]:
    """Yield the file's records, having seen that it is a capture of ours."""
    reader = StreamReader(file, emit_chunks=True, record_size_limit=LARGEST_RECORD)
    pieces = iter(reader.records)
    try:
        first = next(pieces, None)
    except (InvalidMagic, EndOfFile) as error:
        raise InputError(where, None, "is no capture (not an MCAP file)") from error
    except DAMAGE as error:
        raise InputError(where, None, "is damaged from its start; nothing can be read") from error
    if not isinstance(first, Header):
        raise InputError(where, None, "is damaged from its start; nothing can be read")
    if first.profile != PROFILE:
        raise InputError(where, None, "is an MCAP file of another program, not a capture of ours")
    return pieces


def _remarks(where: str, count: int, damaged: int, ended: bool) -> Iterator[str]:
    if damaged:
        yield f"{where}: {damaged} records are damaged and left out; {count} were read"
    if not ended:
        yield f"{where}: torn off after {count} records, as when the power fails; those are used"
