"""Degrees live at the edges; inside there are radians."""

import math

DEG = math.pi / 180.0
"""Radians in a degree."""

WIRE_RAD = 1e-4 * DEG
"""Radians in one code of the wire (1e-4 deg)."""

WIRE_DEGC = 1e-4
"""Degrees Celsius in one code of the wire."""

NS = 1_000_000_000
"""Nanoseconds in a second."""
