"""The numbers of the wire protocol that stand for something else."""

from enum import IntEnum, IntFlag

from ingest.core.ids import BootId

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 0


class MessageType(IntEnum):
    """First byte of a body. Bit 7 set: from the host to the head."""

    SAMPLE_0 = 0x10
    SAMPLE_1 = 0x11
    BATCH = 0x20
    HELLO = 0x30
    STATUS = 0x31
    EVENT = 0x32
    CLOCK_PONG = 0x33
    ACK = 0x34
    REFUSAL = 0x35
    CLOCK_PING = 0xB3
    COMMAND = 0xB4


TO_HEAD = 0x80
"""Bit of the type that is set in every message from the host to the head."""


class StatusBit(IntFlag):
    """Low bits of the status byte. The same values as the flags of a sample block."""

    SWIVEL_LOCKED = 1
    SENSOR_FAULT = 2


STATUS_FLAGS = 0x1F
"""The part of the status byte that carries flags; the rest is the boot mark."""

BOOT_MARK_SHIFT = 5


def boot_mark(boot: BootId) -> int:
    """Return what of a boot id every message of a head bears: its low three bits."""
    return boot & 7


def status_byte(boot: BootId, flags: int = 0) -> int:
    """Return the status byte of a head: flags, and above them the boot mark."""
    return boot_mark(boot) << BOOT_MARK_SHIFT | flags & STATUS_FLAGS


class Mounting(IntEnum):
    """How a head sits on its wheel."""

    HANGING = 0
    """It swings on its stub shaft, and an encoder reads the wheel's turn."""
    FIXED = 1
    """It turns with the wheel."""


class Kind(IntEnum):
    """What sort of quantity a channel is."""

    ELEVATION = 1
    CIRCULAR = 2
    TEMPERATURE = 3


class Unit(IntEnum):
    """Units by their Bluetooth SIG assigned numbers."""

    DEGREE = 0x2763
    CELSIUS = 0x272F


class EventCode(IntEnum):
    """What a person did at the head."""

    TAKE_STOP = 1


class CommandOp(IntEnum):
    """What the host asks a head to do."""

    IDENTIFY = 1
    RATE = 2
    START = 3
    STOP = 4
    HELLO = 5


class RefusalReason(IntEnum):
    """Why a head did not do it."""

    OTHER = 0
    UNKNOWN_COMMAND = 1
    BAD_VALUE = 2
    BUSY = 3
    NOT_ALLOWED = 4
    NOT_POSSIBLE = 5
