"""The bytes of a capture: MCAP, of which we use no more than a replay needs.

The library's own writer keeps an entry for every chunk until the file is closed, which would grow
for as long as a bay is captured; its records are used here without that.
"""

import zlib

from mcap.data_stream import RecordBuilder
from mcap.records import Channel, Chunk, DataEnd, Footer, Header, McapRecord, Message
from mcap.writer import MCAP0_MAGIC

from ingest.core.recording import BYTES, Record

PROFILE = "levelhead"
LIBRARY = "levelhead capture 1"


def beginning() -> bytes:
    """Return what a file begins with."""
    return MCAP0_MAGIC + _written(Header(profile=PROFILE, library=LIBRARY))


def ending() -> bytes:
    """Return what a file ends with that was closed. There is no index before it."""
    footer = Footer(summary_start=0, summary_offset_start=0, summary_crc=0)
    return _written(DataEnd(data_section_crc=0), footer) + MCAP0_MAGIC


class Chunks:
    """Makes a chunk of each record, with a checksum and a number of its own."""

    def __init__(self) -> None:
        self._channels: dict[str, int] = {}
        self._count = 0

    def chunk(self, record: Record) -> bytes:
        """Return the next record's chunk. Each says what its topic is, so that none needs another
        to be read."""
        channel = self._channels.setdefault(record.topic, len(self._channels) + 1)
        self._count += 1
        message = Message(
            channel_id=channel,
            log_time=record.wall_ns,
            data=record.data,
            publish_time=record.at_ns,
            sequence=self._count,
        )
        content = _written(_channel(channel, record.topic), message)
        chunk = Chunk(
            compression="",
            data=content,
            message_start_time=record.wall_ns,
            message_end_time=record.wall_ns,
            uncompressed_crc=zlib.crc32(content),
            uncompressed_size=len(content),
        )
        return _written(chunk)


def _channel(number: int, topic: str) -> Channel:
    encoding = "octets" if topic.startswith(BYTES) else "json"
    return Channel(id=number, topic=topic, message_encoding=encoding, metadata={}, schema_id=0)


def _written(*records: McapRecord) -> bytes:
    builder = RecordBuilder()
    for record in records:
        record.write(builder)
    written: bytes = builder.end()  # type: ignore[no-untyped-call]
    return written
