"""Frames on a byte link: COBS with a zero delimiter around a body and its CRC-32."""

import zlib

from cobs import cobs

from ingest.core.counters import FrameFault, LinkCounters

MAX_BODY = 512
"""The largest body: also the largest value of a Bluetooth LE attribute."""

MAX_FRAME = MAX_BODY + 4 + 3
"""The largest frame without its delimiter: body, CRC and the bytes that COBS may add."""

DELIMITER = b"\0"

_CRC_SIZE = 4
_CRC_RESIDUE = 0x2144DF1C
"""CRC-32/ISO-HDLC of anything followed by its own CRC, least significant byte first."""


def frame(body: bytes) -> bytes:
    """Return the bytes that carry one body over a byte link, delimiter included."""
    if not 1 <= len(body) <= MAX_BODY:
        raise ValueError(f"a body has 1 to {MAX_BODY} bytes, not {len(body)}")
    crc = zlib.crc32(body).to_bytes(_CRC_SIZE, "little")
    encoded: bytes = cobs.encode(body + crc)
    return encoded + DELIMITER


class Deframer:
    """Finds the bodies in a stream of bytes; drops what is damaged and counts it by reason.

    Keeps at most ``MAX_FRAME`` bytes between calls and never raises, whatever it is fed.
    What precedes the first delimiter may be half a frame or boot text: it is used if it
    happens to be whole, and not counted as a fault if it is not.
    """

    def __init__(self, counters: LinkCounters) -> None:
        self._counters = counters
        self._tail = b""
        self._discarding = False
        self._synced = False

    def reset(self) -> None:
        """Forget the stream: the link was opened anew."""
        self._tail = b""
        self._discarding = False
        self._synced = False

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next bytes of the stream; return the bodies that they complete, in order."""
        self._counters.bytes_in += len(data)
        pieces = (self._tail + data).split(DELIMITER)
        self._tail = pieces.pop()
        bodies: list[bytes] = []
        if pieces and (self._discarding or not self._synced):
            self._first_piece(pieces.pop(0), bodies)
        self._open_all(pieces, bodies)
        if len(self._tail) > MAX_FRAME:
            self._begin_discarding()
        return bodies

    def _first_piece(self, piece: bytes, bodies: list[bytes]) -> None:
        """Take what ends at the delimiter that brings us back in step."""
        if self._discarding:
            self._discarding = False
        elif (body := _open(piece)) and isinstance(body, bytes):
            bodies.append(body)
        self._synced = True

    def _open_all(self, pieces: list[bytes], bodies: list[bytes]) -> None:
        for piece in pieces:
            body = _open(piece)
            if isinstance(body, bytes):
                bodies.append(body)
            elif body is not None:
                self._counters.faults[body] += 1

    def _begin_discarding(self) -> None:
        if self._synced and not self._discarding:
            self._counters.faults[FrameFault.LONG] += 1
        self._discarding = True
        self._tail = b""


def _open(piece: bytes) -> bytes | FrameFault | None:
    """Return the body in what stood between two delimiters; None when nothing did."""
    if not piece:
        return None
    if len(piece) > MAX_FRAME:
        return FrameFault.LONG
    try:
        raw = cobs.decode(piece)
    except cobs.DecodeError:
        return FrameFault.COBS
    if len(raw) <= _CRC_SIZE:
        return FrameFault.SHORT
    if zlib.crc32(raw) != _CRC_RESIDUE:
        return FrameFault.CRC
    body: bytes = raw[:-_CRC_SIZE]
    return body
