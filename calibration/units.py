"""The units in which results are reported: a closed list of UCUM codes."""

import math
from enum import StrEnum

from calibration.measured import Measured, propagate


class Unit(StrEnum):
    """UCUM codes. Arc minutes are not among them: they are display only."""

    DEGREE = "deg"
    MILLIMETRE = "mm"
    MILLIMETRE_PER_METRE = "mm/m"
    INCH = "[in_i]"
    CELSIUS = "Cel"
    SECOND = "s"
    PERCENT = "%"
    ONE = "1"

    @property
    def symbol(self) -> str:
        """What is printed after a number, with its space where the SI brochure wants one."""
        return SYMBOLS[self]


SYMBOLS = {
    Unit.DEGREE: "°",
    Unit.MILLIMETRE: " mm",
    Unit.MILLIMETRE_PER_METRE: " mm/m",
    Unit.INCH: " in",
    Unit.CELSIUS: " °C",
    Unit.SECOND: " s",
    Unit.PERCENT: " %",
    Unit.ONE: "",
}

INCH_PER_MM = 1.0 / 25.4


def degrees(angle_rad: Measured) -> Measured:
    """Return an angle in degrees."""
    return angle_rad * (180.0 / math.pi)


def length_at(angle_rad: Measured, reference_mm: float) -> Measured:
    """Return ``reference_mm * sin(angle)`` in mm: toe across a stated length.

    With 1000 mm it is the slope in mm/m by the sine convention.
    """
    value = reference_mm * math.sin(angle_rad.value)
    return propagate(value, (reference_mm * math.cos(angle_rad.value),), (angle_rad,))
