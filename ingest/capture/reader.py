"""Reads a capture, whole, torn or damaged: what can be read is read, the rest is said."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from os import SEEK_END
from pathlib import Path
from typing import BinaryIO

from mcap.exceptions import EndOfFile, InvalidMagic, McapError
from mcap.opcode import Opcode
from mcap.records import Channel, Chunk, DataEnd, Footer, Header, McapRecord, Message
from mcap.stream_reader import StreamReader, breakup_chunk

from ingest.capture.blocks import PROFILE
from ingest.core.errors import InputError
from ingest.core.recording import Record

LARGEST_RECORD = 16 * 1024 * 1024
"""Far above any that we write; a length beyond it is damage."""

CHUNK = bytes([Opcode.CHUNK])
RECORD_HEAD = 9
"""Bytes of a record before its content: its opcode and its length (MCAP specification)."""

CHUNK_HEAD = struct.Struct("<BQQQQIIQ")
"""Opcode, length, first and last time, size, CRC-32, length of the compression's name (none), size
(MCAP specification, Chunk)."""

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

    def take(self, piece: McapRecord) -> bool:
        """Take one piece; say whether it was sound."""
        if isinstance(piece, Chunk):
            try:
                inside = breakup_chunk(piece, validate_crc=True)
            except DAMAGE:
                self.damaged += 1
                return False
            for each in inside:
                self.take(each)
            return True
        if isinstance(piece, Channel):
            self._channels[piece.id] = piece.topic
        elif isinstance(piece, Message):
            self._message(piece)
        elif isinstance(piece, DataEnd | Footer):
            self.ended = True
        return True

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
    unread = 0
    while not taker.ended:
        begin = file.tell()
        try:
            piece = next(pieces, None)
        except DAMAGE:
            if not _find_chunk(file, begin + 1):
                unread = file.seek(0, SEEK_END) - begin
                break
            pieces = iter(_reader(file, skip_magic=True).records)
            continue
        if piece is None:
            break
        end = file.tell()
        sound = taker.take(piece)
        if isinstance(piece, Chunk) and not (sound and end - begin == _size_of(piece)):
            # Where its lengths are what is damaged, the reader has gone too far.
            found = _find_chunk(file, begin + 1)
            file.seek(file.tell() if found else end)
    remarks = _remarks(where, len(taker.records), taker.missing, unread, taker.ended)
    return Capture(tuple(taker.records), tuple(remarks))


def _size_of(chunk: Chunk) -> int:
    return CHUNK_HEAD.size + len(chunk.compression) + len(chunk.data)


def _find_chunk(file: BinaryIO, begin: int) -> bool:
    """Go to the next place at or after ``begin`` where a whole chunk stands; say whether one does.

    A damaged length makes all that follows unreadable to who trusts it; every chunk of ours says
    its size in three places, which nothing else does.
    """
    file.seek(begin)
    rest = file.read()
    place = rest.find(CHUNK)
    while place >= 0:
        if _is_chunk(rest, place):
            file.seek(begin + place)
            return True
        place = rest.find(CHUNK, place + 1)
    return False


def _is_chunk(data: bytes, place: int) -> bool:
    """Tell whether the sizes here agree as those of a whole chunk; its seal is seen when taken."""
    if len(data) - place < CHUNK_HEAD.size:
        return False
    _, length, _, _, size, _, compression, inside = CHUNK_HEAD.unpack_from(data, place)
    whole = length == CHUNK_HEAD.size - RECORD_HEAD + inside <= LARGEST_RECORD
    return whole and size == inside <= len(data) - place - CHUNK_HEAD.size and not compression


def _reader(file: BinaryIO, *, skip_magic: bool) -> StreamReader:
    return StreamReader(
        file, skip_magic=skip_magic, emit_chunks=True, record_size_limit=LARGEST_RECORD
    )


def _pieces(file: BinaryIO, where: str) -> Iterator[McapRecord]:
    """Yield the file's records, having seen that it is a capture of ours."""
    pieces = iter(_reader(file, skip_magic=False).records)
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


def _remarks(where: str, count: int, damaged: int, unread: int, ended: bool) -> Iterator[str]:
    if damaged:
        yield f"{where}: {damaged} records are damaged and left out; {count} were read"
    if not ended:
        yield (
            f"{where}: torn off after {count} records, as when the power fails; those are used, "
            f"its last {unread} bytes are not"
        )
