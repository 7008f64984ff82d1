"""The head's side of the wire protocol: the bodies that it sends.

Written for MicroPython 1.20 or newer; it runs under CPython as well. SPEC.md, one
folder up, says what the fields mean.

Functions named after a message return its body. Over a byte link send frame(body), which is in
levelhead_link.py, over Bluetooth LE the body as it is. They raise ValueError for what a host would
drop, because struct.pack of MicroPython cuts numbers that are too large without a word.
"""

try:
    import ustruct as struct
except ImportError:
    import struct

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
