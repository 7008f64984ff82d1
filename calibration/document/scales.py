"""Axes of a chart: where a value lies on paper, and which values are worth a tick."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from calibration.reporting import on_screen
from calibration.rounding import Place, decimal

ROUND_STEPS = (1.0, 2.0, 5.0, 10.0)
TURN_STEPS_DEG = (15.0, 30.0, 45.0, 60.0, 90.0, 180.0, 360.0)
"""Parts of a circle that people know."""
BESIDE = 0.02
"""Part of a step by which a turn may go beyond its last tick."""
SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
PLAIN_DECADES = range(-4, 5)
"""Powers of ten that are easier to read written out."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: from ``low`` to ``high``, with ticks and their labels, and finer ones without."""

    title: str
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    fine: tuple[float, ...] = ()
    logarithmic: bool = False

    def share(self, value: float) -> float:
        """Return where a value lies, 0 at the low end and 1 at the high one."""
        if self.logarithmic:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


def linear_axis(title: str, values: Iterable[float], most_ticks: int) -> Axis:
    """Return an axis that holds all values, ending on ticks at both ends."""
    low, high = _spread(values)
    step = _round_step((high - low) / (most_ticks - 1))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = [i * step for i in range(first, last + 1)]
    return Axis(title, ticks[0], ticks[-1], _labelled(ticks, step))


def turn_axis(title: str, values_deg: Iterable[float], most_ticks: int) -> Axis:
    """Return an axis over angles of a turn, in degrees, with ticks at known parts of it."""
    low, high = _spread(values_deg)
    step = next((s for s in TURN_STEPS_DEG if (high - low) / s <= most_ticks), 360.0)
    # A point read at -0.3 lies a little before the tick at 0, and asks for no other before it.
    first, last = math.floor(low / step + BESIDE), math.ceil(high / step - BESIDE)
    ticks = [i * step for i in range(first, last + 1)]
    return Axis(title, min(ticks[0], low), max(ticks[-1], high), _labelled(ticks, step))


def log_axis(title: str, values: Iterable[float]) -> Axis:
    """Return a logarithmic axis over whole decades; values at or below zero have no place."""
    above = [value for value in values if value > 0 and math.isfinite(value)] or [1.0]
    first = math.floor(math.log10(min(above)) + 1e-9)
    last = max(first + 1, math.ceil(math.log10(max(above)) - 1e-9))
    decades = range(first, last + 1)
    fine = tuple(m * 10.0**d for d in range(first, last) for m in range(2, 10))
    ticks = tuple((10.0**d, _decade(d)) for d in decades)
    return Axis(title, 10.0**first, 10.0**last, ticks, fine, logarithmic=True)


def _spread(values: Iterable[float]) -> tuple[float, float]:
    """Return the ends of what is there, never the same twice."""
    known = [value for value in values if math.isfinite(value)] or [0.0]
    low, high = min(known), max(known)
    if high - low <= 1e-12 * max(abs(low), abs(high)):
        half = abs(high) / 2 or 1.0
        return low - half, high + half
    return low, high


def _round_step(least: float) -> float:
    """Return the smallest 1, 2 or 5 times a power of ten that is not below ``least``."""
    power = math.floor(math.log10(least))
    return next(
        float(decimal(s).scaleb(power)) for s in ROUND_STEPS if s * 10.0**power >= least * 0.999999
    )


def _labelled(ticks: Sequence[float], step: float) -> tuple[tuple[float, str], ...]:
    """Label each with the decimals that the step has."""
    place = Place(min(0, int(decimal(step).normalize().as_tuple().exponent)))
    return tuple((tick, on_screen(place.text(place.nearest(tick)))) for tick in ticks)


def _decade(power: int) -> str:
    if power in PLAIN_DECADES:
        return f"{10.0**power:.{max(0, -power)}f}"
    return f"10{str(power).translate(SUPERSCRIPT)}"
