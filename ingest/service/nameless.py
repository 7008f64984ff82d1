"""Sound frames that come over a link, and none says whose: noticed, and explained."""

from dataclasses import dataclass

from ingest.core.counters import LinkCounters

NAMELESS_S = 3.0
"""So long after its link was opened a head may leave open who it is; it is asked each second."""


@dataclass(slots=True)
class Nameless:
    """Watches one link, second by second."""

    _since_s: float = 0.0
    _strangers_seen: int = 0
    _strangers_named: int = 0
    """What had come when somebody was last known to speak there."""
    _bad_hellos_named: int = 0

    def why(self, counters: LinkCounters, took_s: float, *, expected: bool, named: bool) -> str:
        """Take note of a second; return why what comes has no name, empty where all is well.

        Args:
            took_s: since the last call.
            expected: the link is open, and nobody on it was refused.
            named: a hello is in force.
        """
        fresh = counters.strangers - self._strangers_seen
        self._strangers_seen = counters.strangers
        if not expected or (named and not fresh):
            self._since_s = 0.0
            self._strangers_named = counters.strangers
            self._bad_hellos_named = counters.bad_hellos
            return ""
        self._since_s += took_s
        return self._reason(counters) if self._since_s > NAMELESS_S and counters.frames else ""

    def _reason(self, counters: LinkCounters) -> str:
        if counters.strangers > self._strangers_named:
            return (
                "its messages bear another boot mark than its hello, so none is used; bits 5 to 7 "
                "of every status byte are the low three bits of the boot id (SPEC.md, section 4)"
            )
        if counters.bad_hellos > self._bad_hellos_named:
            return (
                f"its hello is dropped ({counters.bad_hello}), so nothing of it is used; SPEC.md, "
                "section 5.1, says what each field may hold, lowest byte first"
            )
        return (
            f"sound messages come ({counters.frames}, and {counters.faults.total()} damaged), but "
            "none says whose; see that the firmware answers the hello command, and that the line "
            "carries both ways"
        )
