"""Control charts of single values in their order: limits from moving ranges, and run rules.

The limits are three standard deviations, estimated from the moving ranges of two successive
values, which a slow drift widens little (ISO 7870-2; the NIST/SEMATECH handbook, 6.3.2.2). Two
rules tell a signal: a value beyond the limits, or a run of eight on one side of the centre.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

F64 = NDArray[np.float64]

WIDTH = 3.0
"""Control limits, in standard deviations from the centre."""
RUN = 8
"""So many successive values on one side of the centre are a signal."""
FEWEST = 8
"""With fewer values before, no limits are drawn: they would say nothing."""
BASELINE = 20
"""So many values, the first ones, set the limits; later ones are held against them."""

D2 = 2.0 / math.sqrt(math.pi)
"""Mean of the range of two values, in standard deviations."""
D3 = math.sqrt(2.0 - 4.0 / math.pi)
"""Standard deviation of that range."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Centre line, control limits of the values, and upper limit of the moving range."""

    centre: float
    low: float
    high: float
    sigma: float
    range_high: float


@dataclass(frozen=True, slots=True)
class Signal:
    """A value that chance alone hardly explains: where it stands, and by which rule."""

    index: int
    rule: str


def control_limits(values: Sequence[float]) -> Limits | None:
    """Return the limits that the first values set; None where there are too few."""
    if len(values) < FEWEST:
        return None
    first = np.asarray(values[:BASELINE], dtype=np.float64)
    moving = float(np.mean(np.abs(np.diff(first))))
    centre, sigma = float(first.mean()), moving / D2
    return Limits(
        centre,
        centre - WIDTH * sigma,
        centre + WIDTH * sigma,
        sigma,
        moving * (1.0 + WIDTH * D3 / D2),
    )


def signals(values: Sequence[float], limits: Limits) -> tuple[Signal, ...]:
    """Return the signals among values in their order, each rule by itself."""
    found = []
    run, side = 0, 0
    for index, value in enumerate(values):
        if not limits.low <= value <= limits.high:
            found.append(Signal(index, "beyond-limits"))
        here = (value > limits.centre) - (value < limits.centre)
        run = run + 1 if here == side and here else abs(here)
        side = here
        if run >= RUN:
            found.append(Signal(index, "run-on-one-side"))
    return tuple(found)


def values_until_false_alarm() -> float:
    """Return how many values there are on average until chance alone makes a signal.

    For independent normal values about a known centre with known limits, by the Markov chain of
    the runs (Champ and Woodall, 1987). Limits that were estimated from few values alarm more
    often.
    """
    inside = float(special.ndtr(WIDTH) - 0.5)
    # State r: a run of r values inside the limits, all on one side; both sides are alike.
    chain = np.zeros((RUN, RUN))
    chain[0, 1] = 2.0 * inside
    for run in range(1, RUN):
        chain[run, 1] += inside
        if run + 1 < RUN:
            chain[run, run + 1] += inside
    return float(np.linalg.solve(np.eye(RUN) - chain, np.ones(RUN))[0])
