"""Samples and batches of them, one at a time. The fast way for many is in ``assembly``."""

import struct
from collections.abc import Sequence
from dataclasses import dataclass

from ingest.core.counters import FrameFault
from ingest.wire.codes import MessageType

SAMPLE_SIZE = 20
CODES_PER_SET = 4
MAX_BATCH = 25
"""The most samples that fit the largest body."""

SAMPLE_TYPES = (MessageType.SAMPLE_0, MessageType.SAMPLE_1)
"""The message types of sets 0 and 1, by number of the set."""

_HEAD = struct.Struct("<BBHI")
_BATCH = struct.Struct("<BB")


@dataclass(frozen=True, slots=True)
class Sample:
    """One set of one sample, as it stands on the wire.

    ``status`` is the whole status byte (``codes.status_byte``); ``codes`` are four signed
    24-bit numbers in 1e-4 deg (1e-4 degC), ``NO_VALUE`` where there is none.
    """

    set_index: int
    status: int
    seq: int
    t_us: int
    codes: tuple[int, ...]

    def to_body(self) -> bytes:
        """Return the body of the message."""
        return encode_sample(self.set_index, self.status, self.seq, self.t_us, self.codes)

    @classmethod
    def from_body(cls, body: bytes) -> "Sample | FrameFault":
        """Read the body of a sample, or say what is wrong with it."""
        if body[0] not in SAMPLE_TYPES:
            return FrameFault.TYPE
        if len(body) < SAMPLE_SIZE:
            return FrameFault.LENGTH
        kind, status, seq, t_us = _HEAD.unpack_from(body)
        codes = tuple(
            int.from_bytes(body[at : at + 3], "little", signed=True)
            for at in range(_HEAD.size, SAMPLE_SIZE, 3)
        )
        return cls(kind - MessageType.SAMPLE_0, status, seq, t_us, codes)


@dataclass(frozen=True, slots=True)
class Batch:
    """Several samples in one body, oldest first."""

    samples: tuple[Sample, ...]

    def to_body(self) -> bytes:
        """Return the body of the message."""
        inside = b"".join(sample.to_body() for sample in self.samples)
        return _BATCH.pack(MessageType.BATCH, len(self.samples)) + inside

    @classmethod
    def from_body(cls, body: bytes) -> "Batch | FrameFault":
        """Read the body of a batch; sets that this receiver does not know are left out."""
        parts = split_batch(body)
        if isinstance(parts, FrameFault):
            return parts
        samples = (Sample.from_body(part) for part in parts)
        return cls(tuple(sample for sample in samples if isinstance(sample, Sample)))


def split_batch(body: bytes) -> list[bytes] | FrameFault:
    """Return the sample bodies of a batch, known or not."""
    if len(body) < _BATCH.size:
        return FrameFault.LENGTH
    count = body[1]
    end = _BATCH.size + count * SAMPLE_SIZE
    if len(body) < end:
        return FrameFault.LENGTH
    if not 1 <= count <= MAX_BATCH:
        return FrameFault.VALUE
    return [body[at : at + SAMPLE_SIZE] for at in range(_BATCH.size, end, SAMPLE_SIZE)]


def encode_sample(set_index: int, status: int, seq: int, t_us: int, codes: Sequence[int]) -> bytes:
    """Return the body of one set of a sample; ``seq`` and ``t_us`` wrap by themselves.

    ``status`` is the whole status byte: make it with ``codes.status_byte``, or the receiver
    takes the sample for that of another start of the head.
    """
    head = _HEAD.pack(SAMPLE_TYPES[set_index], status, seq & 0xFFFF, t_us & 0xFFFFFFFF)
    if len(codes) != CODES_PER_SET:
        raise ValueError(f"a set has {CODES_PER_SET} codes, not {len(codes)}")
    return head + b"".join(int(code).to_bytes(3, "little", signed=True) for code in codes)
