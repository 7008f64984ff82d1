"""Reads a capture, whole, torn or damaged: what can be read is read, the rest is said."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from mcap.exceptions import EndOfFile, InvalidMagic, McapError
from mcap.records import Channel, Chunk, DataEnd, Footer, Header, McapRecord, Message
from mcap.stream_reader import StreamReader, breakup_chunk

from ingest.capture.writer import PROFILE
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


def _read(file: BinaryIO, where: str) -> Capture:
    records: list[Record] = []
    channels: dict[int, str] = {}
    damaged, ended = 0, False
    pieces = _pieces(file, where)
    while True:
        try:
            piece = next(pieces, None)
        except DAMAGE:
            break
        if piece is None:
            break
        ended = ended or isinstance(piece, DataEnd | Footer)
        if isinstance(piece, Chunk):
            try:
                inside = breakup_chunk(piece, validate_crc=True)
            except DAMAGE:
                damaged += 1
                continue
            damaged += _take(inside, channels, records)
        elif isinstance(piece, Channel | Message):
            damaged += _take([piece], channels, records)
    return Capture(tuple(records), tuple(_remarks(where, len(records), damaged, ended)))


def _take(inside: list[McapRecord], channels: dict[int, str], records: list[Record]) -> int:
    """Take what is inside; return how many records nobody can tell the topic of any more."""
    strays = 0
    for each in inside:
        if isinstance(each, Channel):
            channels[each.id] = each.topic
        elif isinstance(each, Message):
            topic = channels.get(each.channel_id)
            if topic is None:
                strays += 1
            else:
                records.append(Record(topic, each.data, each.publish_time, each.log_time))
    return strays


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
