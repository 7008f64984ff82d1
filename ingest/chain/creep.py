"""Creep: a wheel that is turned too slowly for a short window to show that it moves.

A straight line is laid through the newest seconds of a rest, through ever longer stretches of it.
It creeps where the line has a slope that the scatter about it does not explain, and where it rises
by more than what matters. Student's t of a slope, with n - 2 degrees of freedom: N. R. Draper,
H. Smith, Applied Regression Analysis, 3rd ed. (Wiley, 1998), section 1.4.
"""

import numpy as np

from calibration.reporting import t_factor
from ingest.chain.angles import wrap_rows
from ingest.core.blocks import F64

FALSE_ALARM = 1e-8
"""How often a line through white noise is taken for a creep (ours to choose). Five stretches of 7
channels are looked at each 0.8 s, so it ends a rest in less than one of 500 hours."""

STRETCHES = 5
"""Each is twice as long as the one before."""


class Creep:
    """Looks at the newest samples of a rest. ``least`` (8, 1): rises that do not matter, rad.

    ``shortest`` is the length of the first stretch in samples: long enough for a vehicle that
    sways to be seen to come back.
    """

    def __init__(self, least: F64, shortest: int) -> None:
        self._least = least[:, 0]
        self._stretches = [shortest << n for n in range(STRETCHES)]
        self._t = [t_factor(1.0 - FALSE_ALARM, n - 2) for n in self._stretches]

    @property
    def longest(self) -> int:
        """How many samples the longest stretch has."""
        return self._stretches[-1]

    def found(self, held: F64) -> bool:
        """Say whether the samples (8, n), evenly spaced, creep up to the last one."""
        for n, t in zip(self._stretches, self._t, strict=True):
            if held.shape[1] < n:
                return False
            rise, u = rise_of(held[:, -n:])
            # A channel that misses a value has NaN for both, and no say.
            if bool(np.any((np.abs(rise) > t * u) & (np.abs(rise) > self._least))):
                return True
        return False


def rise_of(values: F64) -> tuple[F64, F64]:
    """Return how far lines through evenly spaced angles rise from end to end, and how sure.

    ``values`` (8, n), rad. Both (8,): the rise by least squares, and its standard uncertainty
    from the scatter about the line, for which the samples are taken to be independent.
    """
    n = values.shape[1]
    relative = np.ascontiguousarray(values - values[:, :1])
    wrap_rows(relative)
    place = np.arange(n) - 0.5 * (n - 1)
    relative -= relative.mean(axis=1, keepdims=True)
    square = float((place * place).sum())
    slope = (relative * place).sum(axis=1) / square
    off = relative - slope[:, None] * place
    u = np.sqrt((off * off).sum(axis=1) / ((n - 2) * square))
    return slope * (n - 1), u * (n - 1)
