"""A quantity that a person moves: where it is at any time, past or planned."""

from bisect import bisect_right

import numpy as np

from ingest.core.blocks import F64

EVEN_RAMP = 0.5
"""Speed up for half the way and slow down for the other half."""


class Track:
    """A number over time: at rest between moves, each of which starts and ends at rest.

    A move has a trapezium of speed; ``ramp`` is the share of its time spent in speeding up,
    and as much in slowing down (0 < ramp <= 0.5). Moves are planned in order of time and
    never overlap. Arrays of times, shape (n,), give arrays of shape (n,), or of shape (1,)
    where nothing moves during the block, since standing still is what a rig mostly does.
    """

    def __init__(self, value: float) -> None:
        self._first = value
        self._moves: list[tuple[float, float, float, float, float]] = []
        self._starts: list[float] = []

    @property
    def last(self) -> float:
        """The value after the last planned move."""
        return self._moves[-1][3] if self._moves else self._first

    @property
    def end_s(self) -> float:
        """When the last planned move is over; minus infinity when none was planned."""
        return self._moves[-1][0] + self._moves[-1][1] if self._moves else -np.inf

    def move(self, at_s: float, to: float, duration_s: float, ramp: float = EVEN_RAMP) -> None:
        """Plan a move from where the last one ends. Raises ValueError when the two overlap."""
        if at_s < self.end_s or duration_s <= 0.0 or not 0.0 < ramp <= EVEN_RAMP:
            raise ValueError(f"a move at {at_s} s for {duration_s} s does not fit the track")
        self._moves.append((at_s, duration_s, self.last, to, ramp))
        self._starts.append(at_s)

    def at(self, t_s: F64) -> F64:
        """Return the value at each time."""
        resting = self.resting(t_s)
        if resting is not None:
            return np.array([self._moves[resting][3] if resting >= 0 else self._first])
        start, duration, begin, end, ramp = self._moves_at(t_s)
        tau = np.clip((t_s - start) / duration, 0.0, 1.0)
        value: F64 = begin + (end - begin) * _way(tau, ramp)
        return value

    def rate(self, t_s: F64) -> F64:
        """Return the speed at each time, per second."""
        if self.resting(t_s) is not None:
            return np.zeros(1)
        start, duration, begin, end, ramp = self._moves_at(t_s)
        tau = np.clip((t_s - start) / duration, 0.0, 1.0)
        height = np.minimum(np.minimum(tau, 1.0 - tau) / ramp, 1.0) / (1.0 - ramp)
        speed: F64 = (end - begin) / duration * height
        return speed

    def resting(self, t_s: F64) -> int | None:
        """Return which move it rests after at all these times, -1 for none; None while it moves.

        ``t_s``: in order of time.
        """
        begin_s, end_s = float(t_s[0]), float(t_s[-1])
        first = bisect_right(self._starts, begin_s) - 1
        if first + 1 < len(self._starts) and self._starts[first + 1] <= end_s:
            return None
        over = first < 0 or begin_s >= self._moves[first][0] + self._moves[first][1]
        return first if over else None

    def _moves_at(self, t_s: F64) -> tuple[F64, F64, F64, F64, F64]:
        before = (-np.inf, 1.0, self._first, self._first, EVEN_RAMP)
        table = np.array([before, *self._moves])
        rows = table[np.searchsorted(self._starts, t_s, side="right")]
        rows[np.isinf(rows[:, 0]), 0] = t_s[0]
        return rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3], rows[:, 4]


def _way(tau: F64, ramp: F64) -> F64:
    """Return the share of the way done at the share tau of the time (trapezium of speed)."""
    cruise = 1.0 / (1.0 - ramp)
    speeding = cruise * tau**2 / (2.0 * ramp)
    slowing = 1.0 - cruise * (1.0 - tau) ** 2 / (2.0 * ramp)
    steady = cruise * (tau - ramp / 2.0)
    way: F64 = np.where(tau < ramp, speeding, np.where(tau > 1.0 - ramp, slowing, steady))
    return way
