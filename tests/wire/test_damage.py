"""Damaged frames are dropped, whatever the damage, and the next sound one is received."""

from types import ModuleType
from typing import Any

from ingest.core.counters import LinkCounters
from ingest.wire.framing import Deframer, frame

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


def test_200_000_damaged_frames_give_no_wrong_sample(fuzzer: ModuleType) -> None:
    counters = fuzzer.fuzz(200_000, seed=1)
    assert counters.samples == 200_000 // fuzzer.DAMAGED_PER_SAMPLE
    assert counters.faults.total() > 100_000  # some damage joins frames: one fault for two


def test_the_fuzzer_notices_a_decoder_without_crc(fuzzer: ModuleType, monkeypatch: Any) -> None:
    monkeypatch.setattr("ingest.wire.framing.zlib.crc32", lambda _: 0x2144DF1C)
    try:
        fuzzer.fuzz(1, seed=1)
    except fuzzer.Wrong:
        return
    raise AssertionError("damaged frames went unnoticed")
