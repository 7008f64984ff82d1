"""Samples a second from bytes through calibration, beside what people would write."""

import functools
import io
import json
import struct
import time
import zlib

from cobs import cobs
from heads import Stream
from rig import small_record
from rows import rate, row

from calibration.sensors import Correction
from ingest.chain.chain import Chain, ChainSettings
from ingest.core.blocks import RawRun
from ingest.core.counters import LinkCounters
from ingest.wire.decoder import Decoder


def chain(quick):
    """Samples a second from bytes through calibration, in 50 ms blocks; a sample is two frames."""
    seconds = 0.5 if quick else 3.0
    rows = []
    stream = Stream(1, 100.0)
    for name, size in (("at saturation", 5000), ("at 100 Hz", 5)):
        blocks = [b"".join(map(stream.sample, range(i * size, (i + 1) * size))) for i in range(40)]
        texts = [b"".join(map(stream.line, range(i * size, (i + 1) * size))) for i in range(40)]
        ours = rate(_through(stream, blocks), size * 40, seconds)
        rows.append(row(f"bytes to calibrated values, {name}", ours, "samples/s"))
        for what, work in (
            ("readline script", functools.partial(_each, _script_lines, texts)),
            ("read-what-waits script", functools.partial(_each, _script_block, texts)),
            ("bare decode loop", functools.partial(_each, _bare, blocks)),
        ):
            theirs = rate(work, size * 40, seconds)
            rows.append(row(f"{what}, {name}", theirs, "samples/s", ours / theirs, "ours / this"))
    return rows


def _through(stream, blocks):
    def work():
        counters = LinkCounters()
        decoder = Decoder(counters)
        decoder.feed(stream.hello, 1)
        correction = Correction.from_record(small_record(1))
        settings = ChainSettings(decimate=None, settle=None)
        filters = Chain(settings, correction, 100.0, counters)
        for number, block in enumerate(blocks):
            for item in decoder.feed(block, 1 + number * 50_000_000):
                if isinstance(item, RawRun):
                    filters.feed(item)

    return work


def _lines(block):
    return block.split(b"\n")[:-1]


def _each(work, blocks):
    for block in blocks:
        work(block)


def _script_lines(block):
    """A line at a time out of a file-like port, as pyserial's readline gives them."""
    port = io.BytesIO(block)
    return [_as_json(line) for line in iter(port.readline, b"")]


def _as_json(line):
    return json.dumps({"t": time.time(), "values": [float(c) for c in line.split(b",")]})


def _script_block(block):
    return [_as_json(line) for line in _lines(block)]


def _bare(block):
    for piece in block.split(b"\0"):
        if piece:
            raw = cobs.decode(piece)
            if zlib.crc32(raw) == 0x2144DF1C:
                struct.unpack_from("<BBHI12s", raw)
