"""Is a head at rest? Judged on a window of samples, against the head's own noise.

Two figures of each angle: its range over the window (moving), and how far the mean of the
second half lies from that of the first (settling). The noise is taken from the median difference
of neighbouring samples, which neither a slow creep nor a single knock feeds.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

TEMPERATURE = "temperature"
CREEP_SIGMAS = 6.0
"""Half means of white noise differ by so much once in some 1e5 windows; the noise itself is
known to some 15 %."""
MEDIAN_TO_SIGMA = 1.4826 / math.sqrt(2)
"""Median absolute difference of neighbours to the standard deviation of one, normal noise."""
RANGE_SIGMAS = 12.0
"""No window of normal noise spans so much."""


class Rest(StrEnum):
    """What a window of samples says."""

    MOVING = "moving"
    SETTLING = "settling"
    STILL = "still"


@dataclass(frozen=True, slots=True)
class RestLimits:
    """What counts as rest beyond the noise, and over how long."""

    window_s: float = 1.0
    range_rad: float = math.radians(0.05)
    creep_rad: float = math.radians(0.002)
    least: int = 8
    """Samples that a window must hold."""

    def __post_init__(self) -> None:
        if not (self.window_s > 0 and self.range_rad > 0 and self.creep_rad > 0):
            raise ValueError("window and limits of rest must be above 0")
        if self.least < 4:
            raise ValueError("a window holds 4 samples at least")


@dataclass(frozen=True, slots=True)
class Stillness:
    """The verdict, with the channel, the figure and the limit that decided it, rad.

    With too few samples yet there is no channel, and figure and limit are NaN.
    """

    rest: Rest
    channel: str
    figure_rad: float
    limit_rad: float


UNKNOWN = Stillness(Rest.SETTLING, "", math.nan, math.nan)


def judge(time_s: F64, values: Mapping[str, F64], limits: RestLimits) -> Stillness:
    """Judge the last ``window_s`` of the samples; each channel has shape (n,), rad.

    Temperature has no say. The channel nearest to (or furthest beyond) its limit is named.
    """
    if not time_s.size or time_s[-1] - time_s[0] < 0.9 * limits.window_s:
        return UNKNOWN
    # Times only grow, so the window is the end of them.
    first = int(time_s.searchsorted(time_s[-1] - limits.window_s * (1 + 1e-9), side="right"))
    channels = [channel for channel in values if channel != TEMPERATURE]
    if time_s.size - first < limits.least or not channels:
        return UNKNOWN
    angles = unwrapped(np.array([values[channel][first:] for channel in channels]))
    noise = noise_rad(angles)
    range_limit = np.maximum(limits.range_rad, RANGE_SIGMAS * noise)
    widest = _worst(Rest.MOVING, channels, np.ptp(angles, axis=1), range_limit)
    if _beyond(widest):
        return widest
    half = angles.shape[1] // 2
    creep = np.abs(angles[:, -half:].sum(axis=1) - angles[:, :half].sum(axis=1)) / half
    creep_limit = np.maximum(limits.creep_rad, CREEP_SIGMAS * math.sqrt(2 / half) * noise)
    furthest = _worst(Rest.SETTLING, channels, creep, creep_limit)
    return furthest if _beyond(furthest) else replace(furthest, rest=Rest.STILL)


def unwrapped(angle_rad: F64) -> F64:
    """Return angles, shape (..., n), within half a turn of the first of each row."""
    first = angle_rad[..., :1]
    moved = angle_rad - first
    result: F64 = first + (moved - math.tau * np.round(moved / math.tau))
    return result


def noise_rad(angle_rad: F64) -> F64:
    """Return the standard deviation of one sample of each row, from neighbours' differences."""
    steps = np.sort(np.abs(angle_rad[:, 1:] - angle_rad[:, :-1]), axis=1)
    middle = steps.shape[1] // 2
    result: F64 = MEDIAN_TO_SIGMA * (steps[:, middle] + steps[:, -middle - 1]) / 2
    return result


def _worst(rest: Rest, channels: Sequence[str], figures: F64, limits: F64) -> Stillness:
    """A figure that is no number counts as motion: the head says nothing there."""
    shares = figures / limits
    worst = int(np.argmax(np.where(np.isnan(shares), np.inf, shares)))
    return Stillness(rest, channels[worst], float(figures[worst]), float(limits[worst]))


def _beyond(verdict: Stillness) -> bool:
    return not verdict.figure_rad <= verdict.limit_rad
