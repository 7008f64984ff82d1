"""The floor that a vehicle is pushed over: never flat, so an axle rolls a little on its way."""

from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import F64

LENGTHS_M = (0.8, 1.7, 3.3)
"""Wave lengths of a floor; shorter ones a tyre passes over, longer ones are a slope."""


@dataclass(frozen=True, slots=True)
class Floor:
    """How much the floor's left side stands higher, as a slope, along the way.

    ``waves``: length in metres, and cosine and sine part in rad, of each.
    """

    waves: tuple[tuple[float, float, float], ...] = ()

    def roll_rad(self, x_m: F64) -> F64:
        """Return the roll of an axle that stands at ``x_m``, left side up positive."""
        roll = np.zeros_like(x_m)
        for length_m, cosine, sine in self.waves:
            turn = 2.0 * np.pi * x_m / length_m
            roll = roll + cosine * np.cos(turn) + sine * np.sin(turn)
        return roll


def draw_floor(random: np.random.Generator, rms_rad: float) -> Floor:
    """Draw a floor whose roll scatters by ``rms_rad`` (1 sigma) along any long way."""
    each = rms_rad / np.sqrt(len(LENGTHS_M))
    parts = random.normal(0.0, each, (len(LENGTHS_M), 2))
    return Floor(tuple((m, float(c), float(s)) for m, (c, s) in zip(LENGTHS_M, parts, strict=True)))
