"""Where the axes of a head point, from its readings, in the vehicle's level frame.

Components along X, Y, Z (see ``ingest.core.frames``). A heading of 0 is straight ahead for the
forward axis and square to the left for the shaft. Arrays broadcast; the components come first.
"""

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.attitude import swing

F64 = NDArray[np.float64]


def shaft(heading_rad: F64, incl_y_rad: F64) -> F64:
    """Return the left axis of heads of these headings and elevations, shape (3, n)."""
    level = np.cos(incl_y_rad)
    return np.stack([-level * np.sin(heading_rad), level * np.cos(heading_rad), np.sin(incl_y_rad)])


def forward(heading_rad: F64, incl_y_rad: F64, incl_x_rad: F64) -> F64:
    """Return the forward axis of heads, square to the shaft, shape (3, n)."""
    turned = swing(incl_x_rad, incl_y_rad)
    along, risen = np.cos(turned), np.sin(turned)
    leant = risen * np.sin(incl_y_rad)
    sin_h, cos_h = np.sin(heading_rad), np.cos(heading_rad)
    return np.stack(
        [along * cos_h + leant * sin_h, along * sin_h - leant * cos_h, risen * np.cos(incl_y_rad)]
    )
