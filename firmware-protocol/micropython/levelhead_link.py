"""The head's side of a byte link: frames out, and what the host sends in them.

Written for MicroPython 1.20 or newer; it runs under CPython as well. SPEC.md, one folder up, says
how frames are made. Over Bluetooth LE only Receiver.body() is needed.
"""

try:
    import ustruct as struct
except ImportError:
    import struct

from levelhead import COMMAND, PING

LONGEST_BODY = 512
LONGEST_FRAME = 519  # without its delimiter
DELIMITER = b"\x00"


def _nibble_table():
    """What four bits do to the checksum, as its high and its low 16 bits."""
    high = []
    low = []
    for index in range(16):
        hi = 0
        lo = index
        for _ in range(4):
            odd = lo & 1
            lo = (lo >> 1) | ((hi & 1) << 15)
            hi >>= 1
            if odd:
                hi ^= 0xEDB8
                lo ^= 0x8320
        high.append(hi)
        low.append(lo)
    return tuple(high), tuple(low)


_HIGH, _LOW = _nibble_table()


def crc_by_hand(data):
    """The four bytes of the CRC, for boards without binascii.crc32.

    In halves of 16 bits: a small board keeps 31 bits in an integer, more of them go to the heap.
    """
    hi = 0xFFFF
    lo = 0xFFFF
    for byte in data:
        for nibble in (byte & 15, byte >> 4):
            index = (lo ^ nibble) & 15
            lo = ((lo >> 4) | ((hi & 15) << 12)) ^ _LOW[index]
            hi = (hi >> 4) ^ _HIGH[index]
    return struct.pack("<HH", lo ^ 0xFFFF, hi ^ 0xFFFF)


try:
    from binascii import crc32 as _crc32
except ImportError:
    try:
        from ubinascii import crc32 as _crc32
    except ImportError:
        _crc32 = None


def crc_built_in(data):
    """The four bytes of the CRC, by binascii."""
    return struct.pack("<I", _crc32(data) & 0xFFFFFFFF)


crc = crc_by_hand if _crc32 is None else crc_built_in


def frame(body):
    """A body as it goes over a byte link, with its delimiter."""
    if not 1 <= len(body) <= LONGEST_BODY:
        raise ValueError("a body has 1 to 512 bytes")
    data = bytes(body) + crc(body)
    out = bytearray(len(data) + 5)
    at = 0  # where the code of the open block goes
    end = 1
    code = 1
    for byte in data:
        if code == 255:  # the block is full, and more is to come
            out[at] = code
            at = end
            end += 1
            code = 1
        if byte:
            out[end] = byte
            end += 1
            code += 1
        else:
            out[at] = code
            at = end
            end += 1
            code = 1
    out[at] = code
    return bytes(out[: end + 1])


class Receiver:
    """Takes bytes as they come in and finds the host's messages in them.

    It raises nothing, whatever comes in, and keeps one frame.
    """

    def __init__(self):
        self.rejected = 0  # for frames_rejected of the status; stops at 65535
        self.reasons = {}  # the same by reason, for debugging
        self._buffer = bytearray(LONGEST_FRAME)
        self._view = memoryview(self._buffer)
        self.reopen()

    def reopen(self):
        """Forget what is half in, as on a freshly opened link; the counters stay."""
        self._length = 0
        self._long = False
        self._quiet = True  # up to the first delimiter what is no frame is no fault

    def feed(self, data):
        """What the bytes complete, as a list of

        ("ping", ping_id) and ("command", op, command_id, value).
        """
        messages = []
        for byte in data:
            if byte:
                if self._length < LONGEST_FRAME:
                    self._buffer[self._length] = byte
                    self._length += 1
                else:
                    self._long = True
                continue
            if self._long:
                self._broken("long")
            elif self._length:
                message = self._end_of_frame()
                if message:
                    messages.append(message)
            self._length = 0
            self._long = False
            self._quiet = False
        return messages

    def _end_of_frame(self):
        size = self._unstuff()
        if size < 0:
            return self._broken("cobs")
        if size < 5:
            return self._broken("short")
        size -= 4
        if crc(self._view[:size]) != bytes(self._view[size : size + 4]):
            return self._broken("crc")
        return self._take(self._buffer, size)

    def body(self, body):
        """The same for a bare body, as Bluetooth LE brings it: a message, or None."""
        if not body:
            return self._reject("short")
        return self._take(body, len(body))

    def _take(self, body, size):
        kind = body[0]
        if kind == PING:
            if size < 4:
                return self._reject("length")
            return ("ping", struct.unpack_from("<H", body, 2)[0])
        if kind == COMMAND:
            if size < 6:
                return self._reject("length")
            op, command_id, value = struct.unpack_from("<BHH", body, 1)
            return ("command", op, command_id, value)
        return self._reject("type")

    def _unstuff(self):
        """Undo COBS where it stands; the length of what was in it, or -1."""
        buffer = self._buffer
        length = self._length
        here = 0
        there = 0
        while here < length:
            code = buffer[here]
            end = here + code
            if end > length:
                return -1
            here += 1
            while here < end:
                buffer[there] = buffer[here]
                there += 1
                here += 1
            if code < 255 and here < length:
                buffer[there] = 0
                there += 1
        return there

    def _broken(self, reason):
        if not self._quiet:
            self._reject(reason)

    def _reject(self, reason):
        self.rejected = min(self.rejected + 1, 65535)
        self.reasons[reason] = self.reasons.get(reason, 0) + 1
