"""When a port is read. Waking for every frame of 32 heads costs more than measuring them.

A port is read at once when bytes come after a pause, and for ``TAIL_S`` more, so that frames
that arrive in pieces are whole. Then it rests for a hold, while bytes gather in the kernel.
After the hold these are taken, and handed on together with the next bytes that arrive: the
newest byte of a chunk has only just come, so that the rest costs a measurement no time.
If nothing comes within ``LINGER_S`` they are handed on without it.
Whoever knows when the next bytes are needed says so, and the rest lasts until then. Where that time
has just gone by, as what came before took long to work on, there is no rest: they are overdue.
"""

from dataclasses import dataclass

TTY_BUFFER = 4096
"""Bytes that Linux holds for a terminal; what comes beyond may be lost (a UART cannot wait)."""

CROWDED = TTY_BUFFER // 2
"""A read that gives more shows a line too fast to rest on."""

BITS_PER_BYTE = 10
"""On the line: start, eight data, stop."""

TAIL_S = 0.005
"""Two frames of 26 bytes take 4.5 ms at 115200 baud."""

LINGER_S = 0.020
"""One sample period of the slowest usual head, 50 Hz."""

REPLY_S = 0.100
"""No rest for so long after a send: the time at which an answer came is measured."""


@dataclass(frozen=True, slots=True)
class Holds:
    """How long a port may rest: usually, and at most where it is told when bytes are needed."""

    usual_s: float
    longest_s: float

    @classmethod
    def at(cls, usual_s: float, baud: int) -> "Holds":
        """Return holds in which a line at full rate fills at most half the buffer: 178 ms at
        115200 baud, 22 ms at 921600."""
        longest_s = CROWDED * BITS_PER_BYTE / baud
        return cls(min(usual_s, longest_s), longest_s if usual_s > 0.0 else 0.0)

    def overdue(self, wanted_s: float) -> bool:
        """Say whether bytes that are needed in ``wanted_s`` should have been read already.

        A time that is gone by for longer is of a rest before: nobody has said anything since.
        """
        return -self.usual_s < wanted_s <= 0.0

    def rest_s(self, wanted_s: float) -> float:
        """Return how long to rest when bytes are needed in ``wanted_s``; 0: not at all."""
        return min(wanted_s, self.longest_s) if wanted_s > 0.0 else self.usual_s
