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

SMALLEST_AMPLITUDE = 1e-9
"""Below this the direction of a run-out means nothing."""


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


def axis_slopes(c0: float, cosine: float, sine: float) -> F64:
    """Return d(elevation, clamp error) / d(c0, cosine, sine), shape (3, 3).

    The clamp error by its cosine and sine parts (angle times cosine and sine of the phase), which
    have slopes also where there is no run-out.
    """
    amplitude = math.hypot(cosine, sine)
    _, clamp = axis_of(c0, cosine, sine)
    high = 1.0 / math.sqrt(max(1.0 - (c0 + amplitude) ** 2, 1e-300))
    low = 1.0 / math.sqrt(max(1.0 - (c0 - amplitude) ** 2, 1e-300))
    even, odd = (high + low) / 2.0, (high - low) / 2.0
    along = np.array([math.cos(clamp.phase_rad), math.sin(clamp.phase_rad)])
    aside = np.array([-along[1], along[0]])
    turned = clamp.angle_rad / amplitude if amplitude > SMALLEST_AMPLITUDE else even
    slopes = np.empty((3, 3))
    slopes[0, 0], slopes[0, 1:] = even, odd * along
    slopes[1:, 0] = odd * along
    slopes[1:, 1:] = even * np.outer(along, along) + turned * np.outer(aside, aside)
    return slopes
