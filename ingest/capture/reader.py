"""Reads a capture, whole, torn or damaged: what can be read is read, the rest is said.

Every record is a chunk with its sizes and its seal, so each is found and judged by itself: no
length, opcode or end that is damaged can hide what comes after it.
"""

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from mcap.data_stream import ReadDataStream
from mcap.exceptions import McapError
from mcap.opcode import Opcode
from mcap.records import Channel, Chunk, Header, McapRecord, Message
from mcap.stream_reader import StreamReader, breakup_chunk
from mcap.writer import MCAP0_MAGIC

from ingest.capture.blocks import LIBRARY, PROFILE, ending
from ingest.core.errors import InputError
from ingest.core.reading import open_file
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
        with open_file(path) as file:
            content = file.read()
    except OSError as error:
        raise InputError(str(path), None, error.strerror or "cannot be read") from error
    return _read(content, str(path))


class _Taker:
    """Takes what is inside the file, piece by piece."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self._channels: dict[int, str] = {}
        self._highest = 0
        self._damaged = 0

    def chunk(self, content: bytes) -> None:
        """Take a chunk, without the head of its record."""
        try:
            inside = breakup_chunk(Chunk.read(ReadDataStream(io.BytesIO(content))), True)
        except DAMAGE:
            self._damaged += 1
            return
        for each in inside:
            self._piece(each)

    def _piece(self, piece: McapRecord) -> None:
        if isinstance(piece, Channel):
            self._channels[piece.id] = piece.topic
        elif isinstance(piece, Message):
            self._highest = max(self._highest, piece.sequence)
            topic = self._channels.get(piece.channel_id)
            if topic is not None:  # else, in files of an older program, what said it was damaged
                at_ns, wall_ns = piece.publish_time, piece.log_time
                self.records.append(Record(topic, piece.data, at_ns, wall_ns))

    @property
    def missing(self) -> int:
        """Records known to be damaged, or missed in the count."""
        return max(self._damaged, self._highest - len(self.records))


def _read(content: bytes, where: str) -> Capture:
    _refuse_foreign(content, where)
    taker, read_to = _Taker(), 0
    for begin, end in _chunks(content):
        taker.chunk(content[begin + RECORD_HEAD : end])
        read_to = end
    ended, missing = content.endswith(MCAP0_MAGIC), taker.missing
    if content.endswith(ending()) and read_to and read_to != len(content) - len(ending()):
        missing = max(missing, 1)  # the last record is the one that is hit
    unread = len(content) - read_to
    return Capture(
        tuple(taker.records),
        tuple(_remarks(where, len(taker.records), missing, None if ended else unread)),
    )


def _chunks(content: bytes) -> Iterator[tuple[int, int]]:
    """Yield where whole chunks begin and end. Each says its size in three places that agree, which
    nothing else does."""
    place = content.find(CHUNK, len(MCAP0_MAGIC))
    while place >= 0:
        size = _size_of_chunk(content, place)
        if size:
            yield place, place + size
        place = content.find(CHUNK, place + max(size, 1))


def _size_of_chunk(content: bytes, place: int) -> int:
    """Return the size of the chunk's record; 0 where no whole one stands."""
    if len(content) - place < CHUNK_HEAD.size:
        return 0
    _, length, _, _, size, _, compression, inside = CHUNK_HEAD.unpack_from(content, place)
    agree = not compression and size == inside and length == inside + CHUNK_HEAD.size - RECORD_HEAD
    if not agree or length > LARGEST_RECORD or length > len(content) - place - RECORD_HEAD:
        return 0
    return int(RECORD_HEAD + length)


def _refuse_foreign(content: bytes, where: str) -> None:
    """Refuse what is no capture of ours. Either of our names will do, the other may be damaged."""
    if not content.startswith(MCAP0_MAGIC):
        raise InputError(where, None, "is no capture; give a file that levelhead capture wrote")
    reader = StreamReader(io.BytesIO(content), record_size_limit=LARGEST_RECORD)
    try:
        first = next(iter(reader.records), None)
    except DAMAGE:
        first = None
    if isinstance(first, Header):
        if first.profile != PROFILE and first.library != LIBRARY:
            raise InputError(where, None, f"is a capture of another program ({first.library})")
    elif next(_chunks(content), None) is None:
        raise InputError(where, None, "is damaged from its start; nothing can be read")


def _remarks(where: str, count: int, damaged: int, unread: int | None) -> Iterator[str]:
    if damaged:
        yield f"{where}: {damaged} records are damaged and left out; {count} were read"
    if unread is not None:
        yield (
            f"{where}: torn off after {count} records, as when the power fails; those are used, "
            f"its last {unread} bytes are not"
        )
