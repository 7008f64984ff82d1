"""Damaged frames are dropped, whatever the damage, and the next sound one is received."""

from types import ModuleType
from typing import Any

import pytest

from ingest.core.counters import LinkCounters
from ingest.wire.assembly import Assembler
from ingest.wire.framing import Deframer, frame
from ingest.wire.sample import SAMPLE_SIZE

NEXT = bytes.fromhex("b300ff7f")


def survivors(damaged: bytes) -> list[bytes]:
    """Bodies that come out of a damaged frame with a sound one behind it."""
    return Deframer(LinkCounters()).feed(b"\0" + damaged + b"\0" + frame(NEXT))


def test_every_single_bit_error_is_found(accepted: Any) -> None:
    for bit in range(len(accepted.frame) * 8):
        damaged = bytearray(accepted.frame)
        damaged[bit >> 3] ^= 1 << (bit & 7)
        assert survivors(bytes(damaged)) == [NEXT], f"bit {bit}"


def test_every_truncation_is_found(accepted: Any) -> None:
    whole = accepted.frame.removesuffix(b"\0")
    for size in range(1, len(whole)):
        assert survivors(whole[:size]) == [NEXT], f"first {size} bytes"
        assert survivors(whole[size:]) == [NEXT], f"without the first {size} bytes"


def test_every_lost_byte_is_found(accepted: Any) -> None:
    whole = accepted.frame.removesuffix(b"\0")
    for at in range(len(whole)):
        assert survivors(whole[:at] + whole[at + 1 :]) == [NEXT], f"byte {at}"


def test_a_frame_that_runs_into_the_next_spoils_both_and_no_more(accepted: Any) -> None:
    assert survivors(accepted.frame[:-1] + accepted.frame) == [NEXT]


def test_200_000_damaged_frames_and_bodies_give_no_wrong_sample(fuzzer: ModuleType) -> None:
    done = fuzzer.fuzz(200_000, seed=1)
    assert done.counters.samples > done.damaged // fuzzer.DAMAGED_PER_SAMPLE
    assert done.counters.faults.total() > 100_000  # some damage joins frames: one fault for two
    assert done.grown_kb < 8_000


def test_the_fuzzer_notices_a_decoder_without_crc(fuzzer: ModuleType, monkeypatch: Any) -> None:
    monkeypatch.setattr("ingest.wire.framing.zlib.crc32", lambda _: 0x2144DF1C)
    with pytest.raises(fuzzer.Wrong):
        fuzzer.fuzz(1, seed=1)


def test_the_fuzzer_notices_a_decoder_that_fills_short_bodies_up(
    fuzzer: ModuleType, monkeypatch: Any
) -> None:
    monkeypatch.setattr(
        Assembler, "_unpack", lambda self, body: [body.ljust(SAMPLE_SIZE, b"\0")[:SAMPLE_SIZE]]
    )
    with pytest.raises(fuzzer.Wrong):
        fuzzer.fuzz(2 * fuzzer.SAMPLES * fuzzer.DAMAGED_PER_SAMPLE, seed=1)


def test_the_fuzzer_notices_a_deframer_that_keeps_all(fuzzer: ModuleType, monkeypatch: Any) -> None:
    monkeypatch.setattr(Deframer, "_begin_discarding", lambda self: None)
    with pytest.raises(fuzzer.Wrong, match="keeps"):
        fuzzer.fuzz(1, seed=1)
