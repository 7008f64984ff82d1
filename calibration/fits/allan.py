"""Overlapping Allan deviation of a still recording, with confidence.

Estimator: NIST SP 1065 (Riley 2008), 5.2.4. Degrees of freedom: the closed approximations of
Howe, Allan and Barnes (1981), reprinted in NIST TN 1337; the kind of noise from the lag-1
autocorrelation (Riley and Greenhall 2004). Formulas from memory of those texts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.errors import BadBenchData

F64 = NDArray[np.float64]

FLICKER = math.sqrt(2 * math.log(2) / math.pi)
"""Allan deviation on the flicker floor over the bias instability (0.664)."""
IDENTIFY_FROM = 100
"""Averages below which the kind of noise is taken from the next shorter time. Riley's 30 calls
white noise something else in 7 % of recordings of 64, which costs the interval its coverage."""


@dataclass(frozen=True, slots=True, eq=False)
class Allan:
    """Curve over averaging time, shapes (k,); ``low`` and ``high`` bound it at ``probability``.

    ``alpha`` is the power of frequency of the noise: 2 and 1 quantisation-like, 0 white,
    -1 flicker, -2 random walk.
    """

    tau_s: F64
    deviation: F64
    low: F64
    high: F64
    edf: F64
    alpha: NDArray[np.int64]
    probability: float

    @property
    def bias_instability(self) -> float:
        """The least deviation over 0.664; an upper limit where the curve still falls."""
        return float(self.deviation.min()) / FLICKER

    @property
    def bias_instability_tau_s(self) -> float:
        """The averaging time of the least deviation."""
        return float(self.tau_s[int(np.argmin(self.deviation))])

    @property
    def noise_density(self) -> float:
        """One-sided density per sqrt(Hz) from the white stretch, NaN where there is none."""
        white = self.alpha == 0
        if not white.any():
            return math.nan
        weight = self.edf[white]
        variance = np.square(self.deviation[white]) * self.tau_s[white]
        return math.sqrt(2 * float(weight @ variance / weight.sum()))


def overlapping_allan(
    y: F64, interval_s: float, factors: Sequence[int] | None = None, *, probability: float = 0.95
) -> Allan:
    """Return the curve of evenly spaced readings without gaps.

    Args:
        y: readings, shape (n,), n >= 3.
        factors: averaging times over the interval; octaves up to a quarter of the recording.

    Raises:
        BadBenchData: too few readings, some that are no numbers, or a factor too long.
    """
    n = y.size
    chosen = list(factors) if factors is not None else _octaves(n)
    if n < 3 or not np.isfinite(y).all() or not interval_s > 0:
        raise BadBenchData("recording", "too short or with gaps", "record again")
    if not chosen or min(chosen) < 1 or 2 * max(chosen) > n:
        raise BadBenchData("averaging time", "beyond half the recording", "record longer")
    phase = np.concatenate([[0.0], np.cumsum(y - y.mean())])
    deviation = np.array([_deviation(phase, m) for m in chosen])
    alpha = _kinds(y, chosen)
    edf = np.array([max(1.0, _edf(n + 1, m, a)) for m, a in zip(chosen, alpha, strict=True)])
    tail = (1 - probability) / 2
    low = deviation * np.sqrt(edf / special.chdtri(edf, tail))
    high = deviation * np.sqrt(edf / special.chdtri(edf, 1 - tail))
    tau = np.array(chosen) * interval_s
    return Allan(tau, deviation, low, high, edf, np.array(alpha), probability)


def _octaves(n: int) -> list[int]:
    return [2**i for i in range(max(1, int(math.log2(max(4, n) / 4)) + 1))]


def _deviation(phase: F64, m: int) -> float:
    second = phase[2 * m :] - 2 * phase[m:-m] + phase[: -2 * m]
    return math.sqrt(float(second @ second) / (2 * m * m * second.size))


def _kinds(y: F64, factors: Sequence[int]) -> list[int]:
    kinds: list[int] = []
    for m in factors:
        count = y.size // m
        if count < IDENTIFY_FROM and kinds:
            kinds.append(kinds[-1])
            continue
        kinds.append(_kind(y[: count * m].reshape(count, m).mean(axis=1)))
    return kinds


def _kind(means: F64) -> int:
    """Difference until the series is stationary, then read the power from r1/(1 + r1)."""
    series = means
    for differences in range(3):
        z = series - series.mean()
        total = float(z @ z)
        if total == 0 or z.size < 3:
            return 0
        r1 = float(z[:-1] @ z[1:]) / total
        delta = r1 / (1 + r1)
        if delta < 0.25 or differences == 2:
            return max(-2, min(2, round(-2 * delta) - 2 * differences))
        series = np.diff(series)
    return -2


def _edf(phases: int, m: int, alpha: int) -> float:
    """Return the equivalent degrees of freedom for N phase points (N = readings + 1)."""
    n = phases
    if alpha == 2:
        return (n + 1) * (n - 2 * m) / (2 * (n - m))
    if alpha == 1:
        first = math.log((n - 1) / (2 * m))
        return math.exp(math.sqrt(first * math.log((2 * m + 1) * (n - 1) / 4)))
    if alpha == 0:
        return (3 * (n - 1) / (2 * m) - 2 * (n - 2) / n) * 4 * m * m / (4 * m * m + 5)
    if alpha == -1:
        if m == 1:
            return 2 * (n - 2) ** 2 / (2.3 * n - 4.9)
        return 5 * n * n / (4 * m * (n + 3 * m))
    return (n - 2) / m * ((n - 1) ** 2 - 3 * m * (n - 1) + 4 * m * m) / (n - 3) ** 2
