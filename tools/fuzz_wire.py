#!/usr/bin/env python3
"""Throw damaged frames at the decoder: no exception, no wrong sample, in step at once.

    tools/fuzz_wire.py                     a million damaged frames
    tools/fuzz_wire.py --frames 10000000 --seed 3

Rounds take turns. On a byte link: a stream of sound samples with damaged frames of every kind
between them, cut at random. On a link of bodies (which checks each by itself): sound bodies with
spoilt ones between them. What comes out must be the sound samples, all of them, in order, and
nothing else. In a third kind of round bodies are noise, some with the look of sound ones: here
anything may come out but an exception, and after a hello the link must be as good as new.
"""

import argparse
import random
import resource
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import I32, I64, RawRun
from ingest.core.channels import CHANNELS
from ingest.core.counters import LinkCounters
from ingest.core.ids import BootId, HeadId, MonotonicNs
from ingest.core.ports import LinkForm
from ingest.wire.codes import EventCode, status_byte
from ingest.wire.decoder import Decoder
from ingest.wire.framing import MAX_BODY, MAX_FRAME, frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import encode
from ingest.wire.reports import Event, Status
from ingest.wire.sample import SAMPLE_SIZE, Batch, Sample, encode_sample

BOOT = BootId(43981)
STATUS = status_byte(BOOT)
SAMPLES = 2000
"""Sound samples in a round."""
DAMAGED_PER_SAMPLE = 5
KINDS = 3
UNKNOWN_TYPES = (0x00, 0x0F, 0x12, 0x1F, 0x21, 0x2F, 0x36, 0x7F, 0xFF)
"""0x12 to 0x1F may become sets of a sample; the last is a message to a head."""


class Wrong(Exception):
    """The decoder did what the specification forbids."""


@dataclass(frozen=True, slots=True)
class Material:
    """Sound frames, made once: a hello, pairs of sample sets with their codes, and reports."""

    hello: bytes
    pairs: list[tuple[bytes, bytes]]
    codes: I32
    """Shape (8, n)."""
    victims: list[bytes]
    """Bodies of every kind: what gets damaged."""


def material(draw: random.Random) -> Material:
    """Make the frames that the rounds are built from."""
    channels = tuple(ChannelInfo.of(c, rate_dhz=1000, low=-9, high=9) for c in CHANNELS)
    hello = Hello(HeadId("4c480a1700c3d52e"), BOOT, "1.0.0", channels=channels)
    codes = np.array(
        [[draw.randrange(1 - (1 << 23), 1 << 23) for _ in range(SAMPLES)] for _ in CHANNELS],
        np.int32,
    )
    pairs = [
        (
            encode_sample(0, STATUS, seq, seq * 10_000, eight[:4]),
            encode_sample(1, STATUS, seq, seq * 10_000, eight[4:]),
        )
        for seq, eight in enumerate(codes.T.tolist())
    ]
    few = Batch(tuple(Sample(0, STATUS, seq, seq, (1, 2, 3, 4)) for seq in range(5)))
    status = Status(STATUS, 1, 2, 3, 4, 5, 6)
    others = [encode(each) for each in (hello, few, Event(STATUS, 1, 2, EventCode.TAKE_STOP, 3))]
    victims = [one for both in pairs[:200] for one in both] + [*others, encode(status)] * 20
    return Material(encode(hello), pairs, codes, victims)


def flip(data: bytes, draw: random.Random) -> bytes:
    """Turn over one to eight different bits."""
    out = bytearray(data)
    for at in draw.sample(range(len(out) * 8), draw.randint(1, 8)):
        out[at >> 3] ^= 1 << (at & 7)
    return bytes(out)


def cut_front(data: bytes, draw: random.Random) -> bytes:
    """Lose the first bytes, after a delimiter."""
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


def short(body: bytes, draw: random.Random) -> bytes:
    """Lose the end of a body, perhaps all of it."""
    return body[: draw.randrange(0, min(len(body), SAMPLE_SIZE))]


def unknown(body: bytes, draw: random.Random) -> bytes:
    """Be of a type that nobody knows, be joined to another body, be drowned in bytes."""
    tail = draw.choice((b"", body, draw.randbytes(draw.randint(1, 8 * MAX_BODY))))
    return bytes([draw.choice(UNKNOWN_TYPES)]) + body[1:] + tail


def spoilt_stream(made: Material, draw: random.Random) -> bytes:
    """One round: each sound sample stands behind damaged frames and a delimiter."""
    victims = [frame(body) for body in made.victims]
    sound = {victim[:-1] for victim in victims}
    parts = [b"\0", frame(made.hello)]
    for first, second in made.pairs:
        parts += (spoilt_stretch(victims, sound, draw), b"\0", frame(first), frame(second))
    return b"".join(parts)


def spoilt_stretch(victims: list[bytes], sound: set[bytes], draw: random.Random) -> bytes:
    """Damage some frames; noise heals one once in some millions, and that does not count."""
    while True:
        stretch = b"".join(
            draw.choice(DAMAGES)(victim, draw)
            for victim in draw.choices(victims, k=DAMAGED_PER_SAMPLE)
        )
        if sound.isdisjoint(stretch.split(b"\0")):
            return stretch


def spoilt_bodies(made: Material, draw: random.Random) -> Iterator[bytes]:
    """One round: each sound sample stands behind bodies that no receiver may take."""
    yield made.hello
    for pair in made.pairs:
        for victim in draw.choices(made.victims, k=DAMAGED_PER_SAMPLE):
            yield draw.choice((short, unknown))(victim, draw)
        yield from pair


def noisy_bodies(made: Material, draw: random.Random) -> Iterator[bytes]:
    """One round: noise, and sound bodies with bits turned over; at its end a sound link."""
    for _ in range(SAMPLES):
        for victim in draw.choices(made.victims, k=DAMAGED_PER_SAMPLE):
            yield draw.choice((flip, garbage, join, put_in))(victim, draw)
    yield made.hello
    for pair in made.pairs:
        yield from pair


def pieces(data: bytes, draw: random.Random) -> Iterator[bytes]:
    """Cut a stream at random."""
    at = 0
    while at < len(data):
        size = draw.randint(1, 4000)
        yield data[at : at + size]
        at += size


def feed(decoder: Decoder, chunks: Iterable[bytes]) -> list[object]:
    """Feed chunks; check the bound on what is kept."""
    received: list[object] = []
    for at, chunk in enumerate(chunks):
        received += decoder.feed(chunk, MonotonicNs(at))
        kept = len(decoder._deframer._tail) + len(decoder._assembler._held)
        if kept > MAX_FRAME + SAMPLE_SIZE:
            raise Wrong(f"keeps {kept} bytes")
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


def since_last_hello(received: list[object]) -> list[object]:
    """Return what came from the last hello on, with that."""
    last = max(at for at, item in enumerate(received) if isinstance(item, Hello))
    return received[last:]


def one_round(number: int, made: Material, counters: LinkCounters, draw: random.Random) -> None:
    """Do the next round of the three kinds. Raises ``Wrong`` when a rule is broken."""
    if number % 3 == 0:
        chunks = pieces(spoilt_stream(made, draw), draw)
        check(feed(Decoder(counters), chunks), made)
        return
    decoder = Decoder(counters, LinkForm.BODIES)
    if number % 3 == 1:
        check(feed(decoder, spoilt_bodies(made, draw)), made)
    else:
        check(since_last_hello(feed(decoder, noisy_bodies(made, draw))), made)


@dataclass(frozen=True, slots=True)
class Fuzzed:
    """What became of all rounds."""

    damaged: int
    counters: LinkCounters
    grown_kb: int
    """How much the largest memory of the process grew after the first three rounds."""


def fuzz(frames: int, seed: int) -> Fuzzed:
    """Feed at least so many damaged frames. Raises ``Wrong`` when a rule is broken."""
    draw = random.Random(seed)
    made = material(draw)
    counters = LinkCounters()
    rounds, before_kb = 0, 0
    while rounds * SAMPLES * DAMAGED_PER_SAMPLE < frames:
        one_round(rounds, made, counters, draw)
        rounds += 1
        if rounds <= KINDS:
            before_kb = peak_kb()
    return Fuzzed(rounds * SAMPLES * DAMAGED_PER_SAMPLE, counters, peak_kb() - before_kb)


def peak_kb() -> int:
    """Return the largest memory that this process has had, in kB (as Linux counts it)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def main() -> int:
    """Exit 0 when every rule held, 1 when not."""
    parser = argparse.ArgumentParser(description="Damaged frames against the wire decoder.")
    parser.add_argument("--frames", type=int, default=1_000_000, help="damaged frames")
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    began_s = time.monotonic()
    try:
        done = fuzz(args.frames, args.seed)
    except Wrong as wrong:
        print(f"fuzz: seed {args.seed}: {wrong}", file=sys.stderr)
        return 1
    took_s = time.monotonic() - began_s
    faults = ", ".join(f"{fault} {count}" for fault, count in sorted(done.counters.faults.items()))
    print(f"{done.damaged} damaged frames in {took_s:.0f} s, no wrong sample accepted")
    print(f"memory grew by {done.grown_kb} kB; dropped: {faults}, orphans {done.counters.orphans}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
