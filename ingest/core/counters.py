"""Counters that tell the truth about a link. They only grow; only the owner resets them."""

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum


class FrameFault(StrEnum):
    """Why a received frame was dropped. The words stand in SPEC.md and on the link topic."""

    COBS = "cobs"
    """The bytes between two delimiters are not valid COBS."""
    SHORT = "short"
    """Too short to hold a type and a CRC."""
    CRC = "crc"
    """The CRC does not match."""
    LONG = "long"
    """No delimiter within the largest frame; everything up to the next one is dropped."""
    TYPE = "type"
    """A message type that this receiver does not know (a newer head may send it)."""
    LENGTH = "length"
    """A known message with a body shorter than its fields, or not one of its lengths."""
    VALUE = "value"
    """A field outside what the specification allows."""


@dataclass(slots=True)
class LinkCounters:
    """What one head's link has seen since the service started."""

    bytes_in: int = 0
    frames: int = 0
    """Frames accepted."""
    samples: int = 0
    """Samples delivered."""
    orphans: int = 0
    """Sound messages that could not be used: no hello in force, or one of another start of
    the head, or a second set of a sample without its first."""
    strangers: int = 0
    """Orphans that bore another boot mark than the hello in force."""
    bad_hellos: int = 0
    """Hellos dropped; they are among all faults too."""
    bad_hello: str = ""
    """What was wrong with the last of them."""
    faults: Counter[FrameFault] = field(default_factory=Counter)
    lost: int = 0
    """Samples missing by their sequence numbers."""
    duplicates: int = 0
    """Samples that came twice or out of order, dropped."""
    reboots: int = 0
    reconnects: int = 0
    dropped: int = 0
    """Chunks dropped because the service could not keep up (oldest first)."""
    jumps: int = 0
    """Device time jumped, and the head had not said that it starts anew."""
    strayed: int = 0
    """Samples with a value outside the range that the head declares."""
    flooded: int = 0
    """Bytes dropped unread, since the link brought more than any head has to say."""
