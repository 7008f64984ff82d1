"""Flicker noise of a tilt sensor at rest: what no averaging takes away."""

import math

import numpy as np

from ingest.core.blocks import F64

SLOWEST_HZ = 1e-5
FASTEST_HZ = 30.0
PER_OCTAVE = 4


class Wander:
    """Slow random changes of three axes as a function of time alone, however it is cut.

    Cosines of random phase, evenly spaced over the logarithm of frequency and all of one size,
    have a density h / f; the Allan deviation of that is flat at ``sqrt(2 ln 2 h)`` (IEEE 1139).
    """

    def __init__(self, floor_rad: float, random: np.random.Generator) -> None:
        octaves = math.log2(FASTEST_HZ / SLOWEST_HZ)
        n = math.ceil(octaves * PER_OCTAVE)
        self._rate = math.tau * np.geomspace(SLOWEST_HZ, FASTEST_HZ, n)
        self._phase = random.uniform(0.0, math.tau, (3, n))
        density = floor_rad**2 / (2.0 * math.log(2.0))
        # Each cosine holds the power of its own band: size^2 / 2 = h d(ln f).
        self._size = math.sqrt(2.0 * density * math.log(2.0) * octaves / (n - 1))

    def at(self, t_s: F64) -> F64:
        """Return the three axes' angles, rad, shape (3, n), at times of shape (n,)."""
        if self._size == 0.0:
            return np.zeros((3, t_s.size))
        waves = np.cos(np.outer(t_s, self._rate)[None] + self._phase[:, None])
        total: F64 = self._size * waves.sum(axis=2)
        return total
