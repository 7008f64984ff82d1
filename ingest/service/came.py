"""What came over a link since it was opened, in words for who looks for the fault."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from ingest.core.counters import FrameFault, LinkCounters

WORDS: Mapping[FrameFault, str] = {
    FrameFault.CRC: "failed their CRC (see its polynomial, byte order and final XOR)",
    FrameFault.COBS: "were no COBS (see the framing, and the speed of the line)",
    FrameFault.LONG: "had no end within the largest frame (see the framing)",
    FrameFault.SHORT: "were too short to be any message",
    FrameFault.TYPE: "were of unknown types",
    FrameFault.LENGTH: "were shorter than their fields",
    FrameFault.VALUE: "had a field outside what SPEC.md allows",
}


@dataclass(frozen=True, slots=True)
class Came:
    """Counts of a link at one moment."""

    bytes_in: int = 0
    frames: int = 0
    faults: Mapping[FrameFault, int] = field(default_factory=dict)

    @classmethod
    def of(cls, counters: LinkCounters) -> "Came":
        """Take the counts as they stand now."""
        return cls(counters.bytes_in, counters.frames, dict(counters.faults))

    def since(self, before: "Came") -> str:
        """Say what came since then, in words that stay the same while the same goes on."""
        if self.bytes_in == before.bytes_in:
            return "no byte came since it was opened"
        if self.frames > before.frames:
            return "sound frames came before"
        fresh = {f: n - before.faults.get(f, 0) for f, n in self.faults.items()}
        worst = max(fresh, key=lambda fault: fresh[fault], default=None)
        if worst is None or not fresh[worst]:
            return "bytes came since it was opened, but no frame"
        return f"bytes came since it was opened, but no sound frame; most {WORDS[worst]}"
