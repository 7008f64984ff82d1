"""Is a head at rest? Judged on a window of samples, against the head's own noise.

Two figures of each angle: its range over the window (moving), and how far the mean of the
second half lies from that of the first (settling). The noise is taken from the median difference
of neighbouring samples, which neither a slow creep nor a single knock feeds.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

TEMPERATURE = "temperature"
CREEP_SIGMAS = 6.0
"""Half means of white noise never differ by so much; the noise itself is known to some 15 %."""
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
    recent = time_s > time_s[-1] - limits.window_s * (1 + 1e-9)
    angles = {c: unwrapped(v[recent]) for c, v in values.items() if c != TEMPERATURE}
    if int(recent.sum()) < limits.least or not angles:
        return UNKNOWN
    ranges = [_range(c, v, limits) for c, v in angles.items()]
    creeps = [_creep(c, v, limits) for c, v in angles.items()]
    widest, furthest = max(ranges, key=_share), max(creeps, key=_share)
    if _share(widest) > 1:
        return widest
    if _share(furthest) > 1:
        return furthest
    return Stillness(Rest.STILL, furthest.channel, furthest.figure_rad, furthest.limit_rad)


def unwrapped(angle_rad: F64) -> F64:
    """Return angles within half a turn of the first one."""
    first = angle_rad[0]
    result: F64 = first + np.angle(np.exp(1j * (angle_rad - first)))
    return result


def noise_rad(angle_rad: F64) -> float:
    """Return the standard deviation of one sample from neighbours' differences."""
    return MEDIAN_TO_SIGMA * float(np.median(np.abs(np.diff(angle_rad))))


def _range(channel: str, angle_rad: F64, limits: RestLimits) -> Stillness:
    limit = max(limits.range_rad, RANGE_SIGMAS * noise_rad(angle_rad))
    return Stillness(Rest.MOVING, channel, float(np.ptp(angle_rad)), limit)


def _creep(channel: str, angle_rad: F64, limits: RestLimits) -> Stillness:
    half = angle_rad.size // 2
    figure = abs(float(angle_rad[-half:].mean() - angle_rad[:half].mean()))
    limit = max(limits.creep_rad, CREEP_SIGMAS * noise_rad(angle_rad) * math.sqrt(2 / half))
    return Stillness(Rest.SETTLING, channel, figure, limit)


def _share(verdict: Stillness) -> float:
    """A figure that is no number counts as motion: the head says nothing there."""
    share = verdict.figure_rad / verdict.limit_rad
    return share if math.isfinite(share) else math.inf
