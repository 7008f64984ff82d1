"""One reading of one head: wait until it is still, then average while it stays so.

A head that still settles is waited for; one that moves while it is read is refused.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from calibration.bench.stillness import (
    TEMPERATURE,
    UNKNOWN,
    Rest,
    RestLimits,
    Stillness,
    judge,
    unwrapped,
)

F64 = NDArray[np.float64]

GAP = 5.0
"""A pause of so many sample intervals ends a window: nobody saw what the head did."""


@dataclass(frozen=True, slots=True)
class CaptureSettings:
    """How long a reading is averaged once the head is still."""

    limits: RestLimits = field(default_factory=RestLimits)
    reading_s: float = 2.0

    def __post_init__(self) -> None:
        if not self.reading_s > 0:
            raise ValueError("a reading takes time")


@dataclass(frozen=True, slots=True)
class Settled:
    """The mean of a reading. Angles rad, temperature degC; ``spread`` of single samples."""

    mean: Mapping[str, float]
    spread: Mapping[str, float]
    n: int


@dataclass(frozen=True, slots=True)
class Refused:
    """The head moved while it was read; ``verdict`` says where and by how much."""

    verdict: Stillness


class _Phase(Enum):
    IDLE = auto()
    WAITING = auto()
    READING = auto()


class Capture:
    """Takes the samples of one head as they come. Feeding one or many at once is the same."""

    def __init__(self, settings: CaptureSettings) -> None:
        self._settings = settings
        self._keep_s = 2 * settings.limits.window_s + settings.reading_s
        self.reset()

    def reset(self) -> None:
        """Forget every sample: the link was opened anew."""
        self._time_s: F64 = np.empty(0)
        self._values: dict[str, F64] = {}
        self._phase = _Phase.IDLE
        self._since_s = math.inf
        self._needed: frozenset[str] = frozenset()
        self.stillness = UNKNOWN
        self.outcome: Settled | Refused | None = None

    def begin(self, needed: Collection[str] = ()) -> None:
        """Ask for a reading: it starts as soon as the head is still.

        ``needed`` are the channels that decide about that, and must have values; without it,
        all that have some.
        """
        self._phase, self.outcome, self._needed = _Phase.WAITING, None, frozenset(needed)

    def cancel(self) -> None:
        """Ask for none any more."""
        self._phase, self.outcome = _Phase.IDLE, None

    @property
    def waiting(self) -> bool:
        """Whether a reading is asked for and not yet had."""
        return self._phase is not _Phase.IDLE

    @property
    def share_read(self) -> float:
        """How much of the reading is done, 0 to 1."""
        if self._phase is not _Phase.READING or not self._time_s.size:
            return 0.0
        return min(1.0, float(self._time_s[-1] - self._since_s) / self._settings.reading_s)

    @property
    def latest(self) -> Mapping[str, float]:
        """The mean of each channel over the last window: what a display shows."""
        if not self._time_s.size:
            return {}
        recent = self._time_s > self._time_s[-1] - self._window_s
        shown = _valued({c: v[recent] for c, v in self._values.items()})
        return {c: _mean(c, v) for c, v in shown.items()}

    def feed(self, time_s: float, values: Mapping[str, float]) -> None:
        """Take one sample: device time, angles in rad, temperature in degC.

        A channel that is missing, or NaN, has no value just then.
        """
        if self._broken(time_s):
            self._after_gap()
        for channel in values.keys() - self._values.keys():
            self._values[channel] = np.full(self._time_s.size, math.nan)
        self._time_s = _longer(self._time_s, time_s)
        self._values = {
            c: _longer(before, values.get(c, math.nan)) for c, before in self._values.items()
        }
        self._forget()
        judged = self._judged(self._values)
        self.stillness = judge(self._time_s, judged, self._settings.limits)
        self._follow(time_s)

    def _judged(self, values: Mapping[str, F64]) -> dict[str, F64]:
        """Return the channels that decide; a needed one that never had a value is nowhere."""
        if not self._needed:
            return _valued(values)
        nothing = np.full(self._time_s.size, math.nan)
        return {c: values.get(c, nothing) for c in self._needed}

    @property
    def _window_s(self) -> float:
        return self._settings.limits.window_s

    def _broken(self, time_s: float) -> bool:
        if not self._time_s.size:
            return False
        if time_s <= self._time_s[-1]:
            return True
        if self._time_s.size < 2:
            return False
        interval_s = (self._time_s[-1] - self._time_s[0]) / (self._time_s.size - 1)
        return bool(time_s - self._time_s[-1] > GAP * interval_s)

    def _after_gap(self) -> None:
        self._time_s, self._values, self.stillness = np.empty(0), {}, UNKNOWN
        if self._phase is _Phase.READING:
            self._phase = _Phase.WAITING

    def _forget(self) -> None:
        kept = self._time_s > self._time_s[-1] - self._keep_s
        if not kept[0]:
            self._time_s = self._time_s[kept]
            self._values = {c: v[kept] for c, v in self._values.items()}

    def _follow(self, time_s: float) -> None:
        still = self.stillness.rest is Rest.STILL
        if self._phase is _Phase.WAITING and still:
            self._phase, self._since_s = _Phase.READING, time_s
        elif self._phase is _Phase.READING and self.stillness.rest is Rest.MOVING:
            self._phase, self.outcome = _Phase.IDLE, Refused(self.stillness)
        elif self._phase is _Phase.READING and not still:
            self._phase = _Phase.WAITING
        elif self._phase is _Phase.READING and time_s - self._since_s >= self._settings.reading_s:
            self._end()

    def _end(self) -> None:
        """Take the reading, unless it crept from one half to the other: then read on."""
        read_s = self._settings.reading_s
        whole = replace(self._settings.limits, window_s=read_s, least=4)
        taken = self._time_s > self._since_s
        values = {c: v[taken] for c, v in self._judged(self._values).items()}
        if judge(self._time_s[taken], values, whole).rest is Rest.SETTLING:
            self._phase = _Phase.WAITING
            return
        self._phase, self.outcome = _Phase.IDLE, self._settle()

    def _settle(self) -> Settled:
        taken = self._time_s > self._since_s
        values = _valued({c: v[taken] for c, v in self._values.items()})
        spread = {c: _spread(c, v) for c, v in values.items()}
        return Settled({c: _mean(c, v) for c, v in values.items()}, spread, int(taken.sum()))


def _longer(before: F64, value: float) -> F64:
    longer = np.empty(before.size + 1)
    longer[:-1] = before
    longer[-1] = value
    return longer


def _valued(values: Mapping[str, F64]) -> dict[str, F64]:
    """Return the channels that have a value throughout."""
    return {c: v for c, v in values.items() if not np.isnan(v).any()}


def _mean(channel: str, values: F64) -> float:
    return float(_straight(channel, values).mean())


def _spread(channel: str, values: F64) -> float:
    return float(_straight(channel, values).std(ddof=1)) if values.size > 1 else math.nan


def _straight(channel: str, values: F64) -> F64:
    return values if channel == TEMPERATURE else unwrapped(values)
