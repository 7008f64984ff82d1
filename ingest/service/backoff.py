"""How long to wait before a link is tried again: capped, exponential, with full jitter."""

from collections.abc import Callable
from dataclasses import dataclass

from ingest.core.ids import MonotonicNs
from ingest.core.units import NS


@dataclass(frozen=True, slots=True)
class BackoffSettings:
    """``0 < least_s <= first_s <= max_s``; the wait before try n is drawn from
    ``[least_s, min(max_s, first_s * 2**n)]``. Failures are forgotten after ``good_s`` of
    good data, so that a link that opens and dies at once is not tried in a tight loop."""

    least_s: float = 0.05
    first_s: float = 0.25
    max_s: float = 10.0
    good_s: float = 5.0

    def __post_init__(self) -> None:
        if not 0.0 < self.least_s <= self.first_s <= self.max_s:
            raise ValueError("backoff needs 0 < least_s <= first_s <= max_s")
        if not self.good_s > 0.0:
            raise ValueError("backoff needs good_s > 0")


class Backoff:
    """Counts failures and draws waits. Holds no clock: times come with the calls.

    ``random`` returns numbers in [0, 1]. Jitter is full, since heads that vanish together
    (a hub unplugged) shall not come back in step.
    """

    def __init__(self, settings: BackoffSettings, random: Callable[[], float]) -> None:
        self._settings = settings
        self._random = random
        self._failures = 0
        self._good_since_ns: MonotonicNs | None = None

    @property
    def failures(self) -> int:
        """Failures since the last period of good data."""
        return self._failures

    def note_good(self, now_ns: MonotonicNs) -> None:
        """Take note of good data; after ``good_s`` of it the failures are forgotten."""
        if self._good_since_ns is None:
            self._good_since_ns = now_ns
        elif now_ns - self._good_since_ns >= self._settings.good_s * NS:
            self._failures = 0

    def note_failure(self, *, retryable: bool = True) -> float:
        """Take note of a failure; return the seconds to wait, never 0.

        What a person must mend (``retryable`` false) waits the maximum.
        """
        self._good_since_ns = None
        self._failures += 1
        if not retryable:
            return self._settings.max_s
        return self._draw_s()

    def _draw_s(self) -> float:
        doublings = min(self._failures - 1, 60)  # a float holds 2**60 exactly; no overflow
        cap_s = min(self._settings.max_s, self._settings.first_s * 2.0**doublings)
        least_s = self._settings.least_s
        return least_s + self._random() * (cap_s - least_s)
