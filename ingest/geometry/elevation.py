"""Elevation of a spin axis and clamp error, from the harmonic of the shaft's elevation.

sin(incl_y) = cos e sin(theta) + sin e cos(theta) cos(phi - phase) is a pure first harmonic of
the spin angle, whatever the camber and the run-out: c0 +- A are the sines of theta +- e.
"""

import math

import numpy as np
from numpy.typing import NDArray

from ingest.core.errors import MeasurementRefused
from ingest.geometry.clamp import ClampError

F64 = NDArray[np.float64]

SMALLEST_AMPLITUDE = 1e-12
"""Keeps the slopes of a phase finite where there is no run-out."""


def axis_of(c0: float, cosine: float, sine: float) -> tuple[float, ClampError]:
    """Return the axis' elevation and the clamp error of a harmonic of sin(incl_y).

    Raises:
        MeasurementRefused: ``steep``: no axis and clamp can give such a harmonic.
    """
    amplitude = math.hypot(cosine, sine)
    if not abs(c0) + amplitude <= 1.0:
        raise MeasurementRefused(
            "steep",
            f"the fitted sine of the shaft's elevation reaches {abs(c0) + amplitude:.4g}, "
            "limit 1; the readings are no run-out",
            figure=abs(c0) + amplitude,
            limit=1.0,
        )
    high, low = math.asin(c0 + amplitude), math.asin(c0 - amplitude)
    return (high + low) / 2.0, ClampError((high - low) / 2.0, math.atan2(sine, cosine))


def axis_jacobian(c0: float, cosine: float, sine: float) -> F64:
    """Return d(elevation, angle, phase) / d(c0, cosine, sine), shape (3, 3).

    Without any run-out the phase means nothing; its row then grows beyond all use.
    """
    amplitude = math.hypot(cosine, sine)
    phase = math.atan2(sine, cosine)
    high = 1.0 / math.sqrt(max(1.0 - (c0 + amplitude) ** 2, 1e-300))
    low = 1.0 / math.sqrt(max(1.0 - (c0 - amplitude) ** 2, 1e-300))
    even, odd = (high + low) / 2.0, (high - low) / 2.0
    polar = np.array([math.cos(phase), math.sin(phase)])
    turn = np.array([-math.sin(phase), math.cos(phase)]) / max(amplitude, SMALLEST_AMPLITUDE)
    return np.array([[even, *(odd * polar)], [odd, *(even * polar)], [0.0, *turn]])
