"""Does a head do as it says? What it does otherwise is named in an alert, and its own affair.

Nothing here corrects or refuses: bad values are dropped where they are met, each by its reason.
This says in words which head it is, for a person to look after it.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from operator import sub
from typing import NamedTuple

from ingest.core.counters import LinkCounters

WINDOW = 5
"""Ticks, of about a second each, that a judgement stands on."""
RESETS_WINDOW = 60
RESETS = 3
"""So many starts within a minute are a loop."""
RATE_OFF = 0.2
"""A rate is a lie when it is off by more than this share, and by a few samples."""
FEW_SAMPLES = 4

LOSS = 0.05
"""A line that loses a larger share of its samples is named: results come late or not at all."""

CODES = ("rate", "range", "flood", "resets", "order", "loss", "clock")


class _Counts(NamedTuple):
    """What has come so far, or within a second."""

    sent: int = 0
    """Samples, those that were lost on their way included."""
    values: int = 0
    strayed: int = 0
    flooded: int = 0
    dropped: int = 0
    jumps: int = 0
    restarts: int = 0
    lost: int = 0
    damaged: int = 0


@dataclass(frozen=True, slots=True)
class _Tick:
    """What a second brought. ``broken``: the link was not open all the while, or bytes were
    dropped, so that no rate can be told."""

    took_s: float
    fresh: _Counts
    broken: bool


@dataclass(slots=True)
class Conduct:
    """Watches the counters of one link."""

    _before: _Counts = field(default_factory=_Counts)
    _ticks: deque[_Tick] = field(default_factory=lambda: deque(maxlen=WINDOW))
    _restarts: deque[int] = field(default_factory=lambda: deque(maxlen=RESETS_WINDOW))

    def faults(
        self,
        counters: LinkCounters,
        values: int,
        restarts: int,
        took_s: float,
        stated_hz: float,
        *,
        steady: bool,
        beyond_ppm: float | None = None,
    ) -> Mapping[str, str]:
        """Take note of a second; return what is wrong, a half-sentence by its code.

        Args:
            counters: of the link, as they stand now.
            values: what has come out of the head's filters since the start.
            restarts: how often the head has said that it starts anew.
            took_s: since the last call.
            stated_hz: the rate that the head states.
            steady: the head is online and streams.
            beyond_ppm: what its clock gains at least, where that is more than a clock may.
        """
        now = _Counts(
            sent=counters.samples + counters.lost,
            values=values,
            strayed=counters.strayed,
            flooded=counters.flooded,
            dropped=counters.dropped,
            jumps=counters.jumps,
            restarts=restarts,
            lost=counters.lost,
            damaged=counters.faults.total(),
        )
        fresh = _Counts(*map(sub, now, self._before))
        self._before = now
        whole = steady and not fresh.flooded and not fresh.dropped
        self._ticks.append(_Tick(took_s, fresh, broken=not whole))
        self._restarts.append(fresh.restarts)
        found = {
            "rate": self._rate(stated_hz),
            "range": self._any("strayed", "sends values outside the range that it declares; they "),
            "flood": self._any("flooded", "sends more than any head has to say; the rest "),
            "resets": self._resets(),
            "order": self._order(),
            "loss": self._loss(),
            "clock": _clock(beyond_ppm),
        }
        return {code: text for code, text in found.items() if text}

    def _any(self, what: str, text: str) -> str:
        count = sum(getattr(tick.fresh, what) for tick in self._ticks)
        return f"{text}are not used" if count else ""

    def _rate(self, stated_hz: float) -> str:
        seconds = sum(tick.took_s for tick in self._ticks)
        if not self._whole() or seconds <= 0.0:
            return ""
        sent, stated = sum(tick.fresh.sent for tick in self._ticks), stated_hz * seconds
        if not sent or abs(sent - stated) <= RATE_OFF * stated + FEW_SAMPLES:
            return ""
        wrong = "more" if sent > stated else "fewer"
        return f"says {stated_hz:g} samples a second and sends {wrong}; look after its firmware"

    def _whole(self) -> bool:
        """Say whether a full window has passed in which nothing broke off."""
        return len(self._ticks) == WINDOW and not any(tick.broken for tick in self._ticks)

    def _resets(self) -> str:
        if sum(self._restarts) < RESETS:
            return ""
        return "starts anew again and again; look after its supply and its plug"

    def _order(self) -> str:
        if any(tick.fresh.jumps for tick in self._ticks):
            return "lets its clock jump; what was known of its clamp is void"
        sent = sum(tick.fresh.sent for tick in self._ticks)
        values = sum(tick.fresh.values for tick in self._ticks)
        if self._whole() and sent > FEW_SAMPLES * WINDOW and not values and not self._loss():
            return "sends samples that do not follow one another; none can be used"
        return ""

    def _loss(self) -> str:
        sent = sum(tick.fresh.sent for tick in self._ticks)
        lost = sum(tick.fresh.lost for tick in self._ticks)
        if not self._whole() or sent <= FEW_SAMPLES * WINDOW or lost <= LOSS * sent:
            return ""
        way = "damaged on the line" if self._mostly_damaged(lost) else "missing"
        return (
            f"loses more than {LOSS:.0%} of its samples on their way, mostly {way}, so readings "
            "come late or not at all; look after its line or its radio"
        )

    def _mostly_damaged(self, lost: int) -> bool:
        return 2 * sum(tick.fresh.damaged for tick in self._ticks) > lost


def _clock(beyond_ppm: float | None) -> str:
    if beyond_ppm is None:
        return ""
    way = "fast" if beyond_ppm > 0 else "slow"
    return (
        f"has a clock that runs {way} by {abs(beyond_ppm):g} ppm or more, so its times drift away; "
        "SPEC.md, section 7, says what is allowed"
    )
