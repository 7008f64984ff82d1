"""What may have moved during a turn: every place and way of it, tried at once.

Each way is one more column of the regression, or two, from some reading on; what it would take
off the sum of squares follows from running sums (Chow's test for a change, F for all places).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.leastsquares import LinearFit

F64 = NDArray[np.float64]

SEGMENT = 3
"""A motion has at least this many readings on each side; fewer are outliers."""
QUIET_RAD = 1e-7
"""No sensor of this kind shows less; smaller residuals are rounding."""
LEAST_LEFT = 1e-9
"""However much a motion explains, so much of the sum of squares is rounding."""


@dataclass(frozen=True, slots=True)
class Motion:
    """The motion that the residuals speak for most: its size, its \\|t\\|, and from where.

    ``before`` is the kept row that a step is before, None for a steady drift over all rows.
    """

    size_rad: float
    t: float
    before: int | None
    shifted: bool = False
    """It is the clamp's error that changed."""
    seen_rad: float = 0.0
    """What a shift explains of the readings, rms over the turn: at an end a large shift is as
    little as a small one in the middle."""


def largest_step(fit: LinearFit) -> Motion:
    """Return the most significant step of a channel."""
    matrix, rest = fit.design.matrix, fit.residuals[fit.kept]
    n = len(rest)
    at = slice(SEGMENT, n - SEGMENT + 1)
    ahead = _to_the_end(matrix)[at]
    length = np.arange(n - SEGMENT, SEGMENT - 1, -1)
    length = length - ((ahead @ fit.design.cofactor) * ahead).sum(axis=1)
    product, room = _to_the_end(rest)[at], np.maximum(length, 1e-9 * n)[:, None]
    t = np.sqrt(_f_value(fit.rss, np.square(product) / room, 1, fit.dof))
    row, channel = np.unravel_index(int(np.argmax(t)), t.shape)
    step = float(product[row, channel] / room[row, 0])
    return Motion(step, float(t[row, channel]), int(row) + SEGMENT)


def largest_shift(fit: LinearFit) -> tuple[Motion, float]:
    """Return the most significant change of the clamp's error, and the chance of it.

    A knock changes how the clamp sits, and an encoder that skips turns its error round: either
    is a cosine and a sine more in the elevation, from one reading on, and in the sightline the
    same a quarter of a turn apart. ``t`` is the root of their F value.
    """
    matrix, channels = fit.design.matrix, fit.residuals.shape[1]
    n, noise = len(matrix), np.maximum(np.sqrt(fit.rss / fit.dof), QUIET_RAD)
    rest = fit.residuals[fit.kept] / noise
    at = slice(SEGMENT, n - SEGMENT + 1)
    gram = _to_the_end((matrix[:, :, None] * matrix[:, None, 1:3]).reshape(n, -1))[at]
    gram = gram.reshape(len(gram), -1, 2)
    square = gram[:, 1:3] - gram.transpose(0, 2, 1) @ fit.design.cofactor @ gram
    a, b, d = square[:, 0, 0], square[:, 0, 1], square[:, 1, 1]
    by_cosine, by_sine = (_to_the_end(matrix[:, k, None] * rest)[at] / noise for k in (1, 2))
    on_cosine, on_sine = by_cosine[:, 0], by_sine[:, 0]
    a, b, d = a / noise[0] ** 2, b / noise[0] ** 2, d / noise[0] ** 2
    if channels > 1:
        ratio = float(noise[0] / noise[1]) ** 2
        on_cosine, on_sine = on_cosine - by_sine[:, 1], on_sine + by_cosine[:, 1]
        a, b, d = a + d * ratio, b - b * ratio, d + a * ratio
    room = np.maximum(a * d - b * b, 1e-9 * (a + d) ** 2 + 1e-300)
    cosine, sine = (d * on_cosine - b * on_sine) / room, (a * on_sine - b * on_cosine) / room
    gain = on_cosine * cosine + on_sine * sine
    dof = channels * fit.dof
    f = _f_value(np.array(float(dof)), gain, 2, dof)
    row = int(np.argmax(f))
    size = math.hypot(float(cosine[row]), float(sine[row]))
    chance = float(special.fdtrc(2, dof - 2, f[row]))
    seen = float(noise[0]) * math.sqrt(max(float(gain[row]), 0.0) / (channels * n))
    return Motion(size, math.sqrt(float(f[row])), row + SEGMENT, True, seen), chance


def _to_the_end(column: F64) -> F64:
    """Return the sums from each row to the last."""
    sums: F64 = np.cumsum(column[::-1], axis=0)[::-1]
    return sums


def steady_drift(fit: LinearFit) -> Motion:
    """Return the drift from the first reading to the last that the residuals speak for.

    On a short arc a drift is a part of the harmonic, and its size means nothing.
    """
    ramp = np.linspace(0.0, 1.0, fit.design.rows)
    length = float(ramp @ ramp - np.square(fit.design.basis.T @ ramp).sum())
    room = max(length, 1e-9 * fit.design.rows)
    product = ramp @ fit.residuals[fit.kept]
    t = np.sqrt(_f_value(fit.rss, np.square(product) / room, 1, fit.dof))
    channel = int(np.argmax(t))
    return Motion(float(product[channel]) / room, float(t[channel]), None)


def _f_value(rss: F64, gain: F64, columns: int, dof: int) -> F64:
    """Return the F value of further columns that lessen the sum of squares by so much."""
    left = np.maximum(rss - gain, LEAST_LEFT * rss + 1e-300) / max(dof - columns, 1)
    f: F64 = np.maximum(gain, 0.0) / columns / left
    return f
