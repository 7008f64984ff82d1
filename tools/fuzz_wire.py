#!/usr/bin/env python3
"""Throw damaged frames at the decoder: no exception, no wrong sample, in step at once.

    tools/fuzz_wire.py                     a million damaged frames
    tools/fuzz_wire.py --frames 10000000 --seed 3

Each round feeds a stream of sound samples with damaged frames of every kind between them, cut
at random. What comes out must be the sound samples, all of them, in order, and nothing else.
"""

import argparse
import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import I32, I64, RawRun
from ingest.core.channels import CHANNELS
from ingest.core.counters import LinkCounters
from ingest.core.ids import BootId, HeadId, MonotonicNs
from ingest.wire.codes import EventCode, status_byte
from ingest.wire.decoder import Decoder
from ingest.wire.framing import MAX_FRAME, frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import encode
from ingest.wire.reports import Event, Status
from ingest.wire.sample import Batch, Sample, encode_sample

BOOT = BootId(43981)
STATUS = status_byte(BOOT)
SAMPLES = 2000
"""Sound samples in a round."""
DAMAGED_PER_SAMPLE = 5


class Wrong(Exception):
    """The decoder did what the specification forbids."""


@dataclass(frozen=True, slots=True)
class Material:
    """Sound frames, made once: a hello, pairs of sample sets with their codes, and reports."""

    hello: bytes
    pairs: list[bytes]
    codes: I32
    """Shape (8, n)."""
    victims: list[bytes]
    """What gets damaged."""


def material(draw: random.Random) -> Material:
    """Make the frames that the rounds are built from."""
    channels = tuple(ChannelInfo.of(c, rate_dhz=1000, low=-9, high=9) for c in CHANNELS)
    hello = Hello(HeadId("4c480a1700c3d52e"), BOOT, "1.0.0", channels=channels)
    codes = np.array(
        [[draw.randrange(1 - (1 << 23), 1 << 23) for _ in range(SAMPLES)] for _ in CHANNELS],
        np.int32,
    )
    sets = [
        [frame(encode_sample(which, STATUS, seq, seq * 10_000, four)) for which, four in halves]
        for seq, eight in enumerate(codes.T.tolist())
        for halves in [((0, eight[:4]), (1, eight[4:]))]
    ]
    few = Batch(tuple(Sample(0, STATUS, seq, seq, (1, 2, 3, 4)) for seq in range(5)))
    reports = [hello, few, Event(STATUS, 1, 2, EventCode.TAKE_STOP, 3)]
    others = [frame(encode(report)) for report in reports]
    others.append(frame(encode(Status(STATUS, 1, 2, 3, 4, 5, 6))))
    victims = [one for both in sets[:200] for one in both] + others * 20
    return Material(frame(encode(hello)), [a + b for a, b in sets], codes, victims)


def flip(data: bytes, draw: random.Random) -> bytes:
    """Turn over one to eight different bits."""
    out = bytearray(data)
    for at in draw.sample(range(len(out) * 8), draw.randint(1, 8)):
        out[at >> 3] ^= 1 << (at & 7)
    return bytes(out)


def cut_front(data: bytes, draw: random.Random) -> bytes:
    """Lose the first bytes, after a delimiter, or what stands before could heal the frame."""
    return b"\0" + data[draw.randrange(1, len(data)) :]


def cut_back(data: bytes, draw: random.Random) -> bytes:
    """Lose the last bytes, the delimiter among them."""
    return data[: draw.randrange(1, len(data) - 1)]


def cut_middle(data: bytes, draw: random.Random) -> bytes:
    """Lose one byte inside that differs from the next (or the loss would not show)."""
    at = draw.choice([i for i in range(1, len(data) - 1) if data[i] != data[i + 1]])
    return data[:at] + data[at + 1 :]


def put_in(data: bytes, draw: random.Random) -> bytes:
    """Get noise in the middle."""
    at = draw.randrange(1, len(data) - 1)
    return data[:at] + draw.randbytes(draw.randint(1, 6)) + data[at:]


def join(data: bytes, draw: random.Random) -> bytes:
    """Lose the delimiter, so that the frame runs into another."""
    return data[:-1] + data


def flood(data: bytes, draw: random.Random) -> bytes:
    """Be drowned in bytes with no delimiter."""
    return data[:-1] + bytes([draw.randint(1, 255)]) * draw.randint(1, 2 * MAX_FRAME)


def garbage(data: bytes, draw: random.Random) -> bytes:
    """Be replaced by noise of the same length."""
    return draw.randbytes(len(data))


Damage = Callable[[bytes, random.Random], bytes]
DAMAGES: tuple[Damage, ...] = (
    *(flip,) * 8,
    cut_front,
    cut_back,
    cut_middle,
    put_in,
    join,
    flood,
    garbage,
)


def spoilt_stream(made: Material, draw: random.Random) -> bytes:
    """One round: each sound sample stands behind damaged frames and a delimiter."""
    parts = [b"\0", made.hello]
    for pair in made.pairs:
        for victim in draw.choices(made.victims, k=DAMAGED_PER_SAMPLE):
            parts.append(draw.choice(DAMAGES)(victim, draw))
        parts += (b"\0", pair)
    return b"".join(parts)


def feed_in_pieces(decoder: Decoder, data: bytes, draw: random.Random) -> list[object]:
    """Feed a stream cut at random; check the bound on what is kept."""
    received: list[object] = []
    at = 0
    while at < len(data):
        size = draw.randint(1, 4000)
        received += decoder.feed(data[at : at + size], MonotonicNs(at))
        at += size
        if len(decoder._deframer._tail) > MAX_FRAME:
            raise Wrong(f"keeps {len(decoder._deframer._tail)} bytes")
    return received


def check(received: list[object], made: Material) -> None:
    """Hold what came out against what was sound."""
    reports = [item for item in received if not isinstance(item, RawRun)]
    if len(reports) != 1:
        raise Wrong(f"accepted damaged reports: {reports[1:]}")
    runs = [item for item in received if isinstance(item, RawRun)]
    seq: I64 = np.concatenate([run.seq for run in runs])
    codes: I32 = np.concatenate([run.codes for run in runs], axis=1)
    if not np.array_equal(seq, np.arange(SAMPLES)):
        raise Wrong(f"{len(seq)} samples where {SAMPLES} were sound")
    if not np.array_equal(codes, made.codes):
        raise Wrong("a sample with wrong values")


def fuzz(frames: int, seed: int) -> LinkCounters:
    """Feed at least so many damaged frames. Raises ``Wrong`` when a rule is broken."""
    draw = random.Random(seed)
    made = material(draw)
    counters = LinkCounters()
    done = 0
    while done < frames:
        decoder = Decoder(counters)
        check(feed_in_pieces(decoder, spoilt_stream(made, draw), draw), made)
        done += SAMPLES * DAMAGED_PER_SAMPLE
    return counters


def main() -> int:
    """Exit 0 when every rule held, 1 when not."""
    parser = argparse.ArgumentParser(description="Damaged frames against the wire decoder.")
    parser.add_argument("--frames", type=int, default=1_000_000, help="damaged frames")
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    began_s = time.monotonic()
    try:
        counters = fuzz(args.frames, args.seed)
    except Wrong as wrong:
        print(f"fuzz: seed {args.seed}: {wrong}", file=sys.stderr)
        return 1
    took_s = time.monotonic() - began_s
    faults = ", ".join(f"{fault} {count}" for fault, count in sorted(counters.faults.items()))
    print(f"{args.frames} damaged frames in {took_s:.0f} s; {counters.samples} samples, all right")
    print(f"dropped: {faults}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
