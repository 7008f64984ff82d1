"""One record of a capture."""

from dataclasses import dataclass

BYTES = "bytes/"
"""Topics of bytes as they came begin so; the link's name follows. All other topics hold JSON."""


@dataclass(frozen=True, slots=True)
class Record:
    """What happened at one moment: on which topic, the bytes, and when on both clocks (ns)."""

    topic: str
    data: bytes
    at_ns: int
    wall_ns: int
