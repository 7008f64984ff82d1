"""Published values of COBS and CRC against the parts that frames are made of.

COBS: the package cobs 1.2.2 and its repository cmcqueen/cobs-python at 64f8c21f,
src/cobs/cobs/test.py; the header example is that of Cheshire and Baker, "Consistent Overhead
Byte Stuffing" (1999), from memory. CRC: the check value of CRC-32/ISO-HDLC in the catalogue of
parametrised CRC algorithms, as kept by crccheck 1.3.1 (crc.py, _check_result).
"""

import zlib

import pytest
from cobs import cobs

from ingest.core.counters import FrameFault, LinkCounters
from ingest.wire.framing import Deframer, frame

UP_TO_254 = bytes(range(1, 255))
PUBLISHED = [
    ("", "01"),
    ("00", "01 01"),
    ("00 00", "01 01 01"),
    (b"12345".hex(), "06 31 32 33 34 35"),
    (b"12345\x006789".hex(), "06 31 32 33 34 35 05 36 37 38 39"),
    ("11 22 00 33", "03 11 22 02 33"),
    (UP_TO_254.hex(), "FF" + UP_TO_254.hex()),
    (UP_TO_254.hex() + "FF", "FF" + UP_TO_254.hex() + "02 FF"),
    ("00" + UP_TO_254.hex() + "FF", "01 FF" + UP_TO_254.hex() + "02 FF"),
    ("45 00 00 2C 4C 79 00 00 40 06 4F 37", "02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
]


@pytest.mark.parametrize(("plain", "coded"), PUBLISHED)
def test_cobs_gives_the_published_bytes(plain: str, coded: str) -> None:
    assert cobs.encode(bytes.fromhex(plain)) == bytes.fromhex(coded)
    assert cobs.decode(bytes.fromhex(coded)) == bytes.fromhex(plain)


@pytest.mark.parametrize(
    ("bad", "faults"),
    [
        (b"\x05123", [FrameFault.COBS]),
        (b"\x051234\x00", [FrameFault.SHORT]),
        (b"\x0512\x004", [FrameFault.COBS, FrameFault.COBS]),
        (b"\x00", []),
    ],
)
def test_published_bad_cobs_never_gives_a_body(bad: bytes, faults: list[FrameFault]) -> None:
    counters = LinkCounters()
    assert Deframer(counters).feed(b"\0" + bad + b"\0") == []
    assert list(counters.faults.elements()) == faults


def test_crc_has_the_catalogue_check_value() -> None:
    assert zlib.crc32(b"123456789") == 0xCBF43926


def test_frame_carries_the_catalogue_crc_least_significant_byte_first() -> None:
    raw = cobs.decode(frame(b"123456789")[:-1])
    assert raw == b"123456789" + bytes.fromhex("26 39 F4 CB")
