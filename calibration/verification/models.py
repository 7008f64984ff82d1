"""Measurement models of a verification point: error = indication minus known angle, degrees.

Each takes its inputs in the order of its own list of sources, as columns, so that one function
serves the law of propagation and the trials of a Monte Carlo.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

ANY = NDArray[Any]

EXPANSION_PER_K = 11.5e-6
"""Of steel, blocks and bar alike (ISO 3650 for gauge blocks, quoted from memory)."""

DEG = 180.0 / math.pi

SINE_BAR = (
    "indication (deg)",
    "resolution of the head (deg)",
    "drift with temperature (deg)",
    "gauge blocks (mm)",
    "length of the sine bar (mm)",
    "blocks warmer than bar (K)",
    "face of the sine bar (deg)",
    "tilt of the plate (deg)",
)
KNOWN_ANGLE = (
    "indication (deg)",
    "resolution of the head (deg)",
    "drift with temperature (deg)",
    "reference angle (deg)",
    "resolution of the reference (deg)",
    "approach of the reference (deg)",
)
APART = "up and down apart (deg)"
"""Stands for the approach where the runs differ by more than the reference's papers explain."""


def sine_bar_angle(height_mm: ANY, length_mm: ANY, warmer_k: ANY) -> ANY:
    """Return the angle of a sine bar in degrees, theta = asin(h / L).

    ``warmer_k``: how much warmer the blocks are than the bar, both of steel; at one common
    temperature blocks and bar grow alike, and the angle stays.
    """
    result: ANY = np.arcsin(height_mm * (1.0 + EXPANSION_PER_K * warmer_k) / length_mm) * DEG
    return result


def sine_bar_error(sign: float, inputs: ANY) -> ANY:
    """Return the error of an inclinometer on a sine bar for inputs (8, m) of ``SINE_BAR``.

    ``sign`` says under which roller the blocks stand. Face and plate tilt the head the same
    way for both signs, since it stays where it is on the bar.
    """
    indication, resolution, drift, blocks, length, warmer, face, plate = inputs
    known = sign * sine_bar_angle(blocks, length, warmer) + face + plate
    result: ANY = indication + resolution + drift - known
    return result


def known_angle_error(offset: float, inputs: ANY) -> ANY:
    """Return the error against another instrument for inputs (5 or 6, m) of ``KNOWN_ANGLE``.

    ``offset`` is the mean error where only differences of the reference are known, so that
    errors are taken from their mean; 0 where the reference knows the angle itself.
    """
    indication, resolution, drift, *reference = inputs
    result: ANY = indication + resolution + drift - sum(reference) - offset
    return result
