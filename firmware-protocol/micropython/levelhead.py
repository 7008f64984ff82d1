"""The head's side of the wire protocol: bodies, frames, and what the host sends.

Written for MicroPython 1.20 or newer; it runs under CPython as well. SPEC.md, one
folder up, says what the fields mean.

Functions named after a message return its body. Over a byte link send frame(body), over
Bluetooth LE the body as it is. They raise ValueError for what a host would drop, because
struct.pack of MicroPython cuts numbers that are too large without a word.
"""

try:
    import ustruct as struct
except ImportError:
    import struct

LONGEST_BODY = 512
LONGEST_FRAME = 519  # without its delimiter
DELIMITER = b"\x00"

HELLO = 0x30
STATUS = 0x31
EVENT = 0x32
PONG = 0x33
ACK = 0x34
REFUSAL = 0x35
SAMPLE = 0x10  # plus the number of the set
BATCH = 0x20
PING = 0xB3
COMMAND = 0xB4

# channels; sets hold them in this order, four each
INCL_X, INCL_Y, ROTATION, AZIMUTH_CROSS, AZIMUTH_TRACK, STEER, TEMPERATURE, INCL_Z = range(8)

# kinds of channels and the units they come in
ELEVATION, CIRCULAR, CELSIUS = 1, 2, 3
UNIT_DEGREE = 0x2763
UNIT_CELSIUS = 0x272F
_KIND = (ELEVATION, ELEVATION, CIRCULAR, CIRCULAR, CIRCULAR, CIRCULAR, CELSIUS, ELEVATION)

# commands
IDENTIFY, RATE, START, STOP, SAY_HELLO = 1, 2, 3, 4, 5

# reasons of a refusal
OTHER, UNKNOWN_COMMAND, NOT_POSSIBLE, BUSY, NOT_ALLOWED, NOT_NOW = range(6)

BUTTON = 1  # code of an event

_NOTHING = -8388608
_HALF_TURN = 1800000
_TURN = 3600000


# --- checksum --------------------------------------------------------------------------------


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


# --- frames ----------------------------------------------------------------------------------


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


# --- bodies ----------------------------------------------------------------------------------


def status_byte(boot, locked=False, fault=False):
    """Byte 1 of most messages: the boot mark and the two flags."""
    return ((boot & 7) << 5) | (2 if fault else 0) | (1 if locked else 0)


def entry(channel, rate_dhz, low, high):
    """What a hello says about one channel; rate 0 means that it is not known."""
    kind = _KIND[channel]
    unit = UNIT_CELSIUS if kind == CELSIUS else UNIT_DEGREE
    return (channel, kind, unit, -4, rate_dhz, low, high)


def hello_start(head, boot, firmware, mounting=0, minor=0, major=1):
    """The part of a hello that stays as it is in every version: its first 40 bytes."""
    head = bytes(head)
    if len(head) != 8 or head == bytes(8) or head == b"\xff" * 8:
        raise ValueError("an identity is 8 bytes, neither all 00 nor all FF")
    text = firmware.encode()
    if len(text) > 24:
        raise ValueError("the firmware text has up to 24 characters")
    for byte in text:
        if not 0x20 <= byte <= 0x7E:
            raise ValueError("the firmware text is plain ASCII")
    start = struct.pack("<BBBB", HELLO, _fit(major, 255), _fit(minor, 255), _fit(mounting, 255))
    return start + head + struct.pack("<I", boot & 0xFFFFFFFF) + text + bytes(24 - len(text))


def hello(
    head,
    boot,
    firmware,
    rate_dhz,
    streaming,
    channels,
    mounting=0,
    minor=0,
    more=b"",
    more_per_channel=b"",
):
    """Who the head is. `head` is 8 bytes, `channels` what entry() makes, mounting 1 is fixed."""
    if mounting not in (0, 1):
        raise ValueError("the mounting is 0, hanging, or 1, fixed")
    if not 1 <= rate_dhz <= 10000:
        raise ValueError("the rate is 1 to 10000 tenths of a hertz")
    if len(channels) > 16:
        raise ValueError("a hello has up to 16 channels")
    size = 16 + len(more_per_channel)
    parts = [
        hello_start(head, boot, firmware, mounting, minor),
        struct.pack("<HBBB", rate_dhz, 1 if streaming else 0, len(channels), _fit(size, 255)),
    ]
    seen = []
    for channel, kind, unit, exponent, rate, low, high in channels:
        if channel in seen:
            raise ValueError("a channel stands in a hello once")
        seen.append(channel)
        if low > high:
            raise ValueError("the low end of a range is above its high end")
        if not 0 <= rate <= rate_dhz:
            raise ValueError("no channel is faster than the samples")
        parts.append(struct.pack("<BBHbBHii", channel, kind, unit, exponent, 0, rate, low, high))
        parts.append(more_per_channel)
    parts.append(more)
    return b"".join(parts)


def wrap(code):
    """A circular code within -1800000 to 1799999."""
    return (code + _HALF_TURN) % _TURN - _HALF_TURN


def sample(which, status, seq, t_us, codes, more=b""):
    """Set 0 or 1 of a sample: four codes in steps of 1e-4 degree, None where there is no value.

    With `more` it is longer than 20 bytes, and no longer fits into a batch.
    """
    if which not in (0, 1):
        raise ValueError("there are set 0 and set 1")
    if len(codes) != 4:
        raise ValueError("a set has four codes")
    body = bytearray(20)
    struct.pack_into("<BBHI", body, 0, SAMPLE + which, status, seq & 0xFFFF, t_us & 0xFFFFFFFF)
    at = 8
    for code in codes:
        if code is None:
            code = _NOTHING
        elif not _NOTHING < code <= 8388607:
            raise ValueError("a code takes 24 bits")
        body[at] = code & 255
        body[at + 1] = (code >> 8) & 255
        body[at + 2] = (code >> 16) & 255
        at += 3
    return bytes(body) + more


def batch(samples):
    """Several sample bodies in one, oldest first."""
    if not 1 <= len(samples) <= 25:
        raise ValueError("a batch has 1 to 25 samples")
    for body in samples:
        if len(body) != 20:
            raise ValueError("a sample in a batch has 20 bytes")
    return struct.pack("<BB", BATCH, len(samples)) + b"".join(samples)


def status(
    status,
    t_us,
    battery_percent=None,
    temperature_cdegc=None,
    sensor_errors=0,
    samples_dropped=0,
    frames_rejected=0,
    more=b"",
):
    """How the head is. None stands for a battery or a temperature that is not known."""
    if battery_percent is None:
        battery_percent = 255
    elif not 0 <= battery_percent <= 100:
        raise ValueError("a battery is 0 to 100 percent full")
    if temperature_cdegc is None:
        temperature_cdegc = -32768
    elif not -27315 <= temperature_cdegc <= 32767:
        raise ValueError("the temperature is out of range")
    return (
        struct.pack(
            "<BBBBIhHHH",
            STATUS,
            status,
            battery_percent,
            0,
            t_us & 0xFFFFFFFF,
            temperature_cdegc,
            min(sensor_errors, 65535),
            min(samples_dropped, 65535),
            min(frames_rejected, 65535),
        )
        + more
    )


def event(status, seq, t_us, number, code=BUTTON, more=b""):
    """Somebody pressed the button. `seq` is that of the newest sample taken by then."""
    body = struct.pack(
        "<BBHIBB", EVENT, status, seq & 0xFFFF, t_us & 0xFFFFFFFF, _fit(code, 255), number & 255
    )
    return body + more


def pong(status, ping_id, received_us, sent_us, more=b""):
    """The answer to a clock ping."""
    received_us &= 0xFFFFFFFF
    return struct.pack("<BBHII", PONG, status, ping_id, received_us, sent_us & 0xFFFFFFFF) + more


def ack(status, command_id, op, value=0, more=b""):
    """A command was carried out; `value` is what is now in force after identify and rate."""
    return struct.pack("<BBHBBH", ACK, status, command_id, op, 0, _fit(value, 65535)) + more


def refusal(status, command_id, op, reason, value=0, more=b""):
    """A command was not carried out; `value` is the nearest possible, for NOT_POSSIBLE."""
    value = _fit(value, 65535)
    return struct.pack("<BBHBBH", REFUSAL, status, command_id, op, _fit(reason, 255), value) + more


def _fit(number, most):
    if not 0 <= number <= most:
        raise ValueError("a number is too large for its field")
    return number


# --- what the host sends ---------------------------------------------------------------------


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
