"""Toe in the units of the trade, both ways, exactly.

Per wheel, a toe in mm or inch is the difference across a stated diameter: diameter * sin(toe); the
slope in mm/m is 1000 sin(toe). An axle's total toe is the sum over its wheels; given alone it is
shared equally, which for a few degrees changes no digit that anybody reads. A length without its
diameter is no angle: the published equations "1/16 in = 0.08 deg = 1.5 mm/m" are rounded, and hold
together at no diameter.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from calibration.measured import Measured, propagate

MM_PER_INCH = 25.4
"""Exact, by definition."""
MM_PER_M = 1000.0
ARCMIN_PER_DEG = 60.0


class ToeUnit(StrEnum):
    """How a toe may be stated."""

    DEGREE = "deg"
    ARC_MINUTE = "arcmin"
    MILLIMETRE_PER_METRE = "mm/m"
    MILLIMETRE = "mm"
    INCH = "in"

    @property
    def across(self) -> bool:
        """Whether the unit means something only with a diameter."""
        return self in (ToeUnit.MILLIMETRE, ToeUnit.INCH)


@dataclass(frozen=True, slots=True)
class ToeScale:
    """What turns a toe into a number: the unit, the diameter (m), one wheel or two.

    Raises ``ValueError`` for a length without a diameter.
    """

    unit: ToeUnit
    wheels: int = 1
    diameter_m: float | None = None

    def __post_init__(self) -> None:
        if self.wheels not in (1, 2):
            raise ValueError("a toe is that of one wheel, or the total of two")
        if self.unit.across and self.diameter_m is None:
            raise ValueError(
                f"a length ({self.unit}) needs the diameter that it is measured across"
            )
        if self.diameter_m is not None and not 0.0 < self.diameter_m < math.inf:
            raise ValueError(f"a diameter of {self.diameter_m} m is not possible")

    @property
    def per_sine(self) -> float:
        """What a sine of 1 is in this unit; 0 for angles."""
        if self.unit is ToeUnit.MILLIMETRE_PER_METRE:
            return MM_PER_M
        if not self.unit.across or self.diameter_m is None:
            return 0.0
        across_mm = self.diameter_m * MM_PER_M
        return across_mm if self.unit is ToeUnit.MILLIMETRE else across_mm / MM_PER_INCH

    @property
    def per_deg(self) -> float:
        """What a degree is in this unit of angle."""
        return ARCMIN_PER_DEG if self.unit is ToeUnit.ARC_MINUTE else 1.0

    def of(self, toe_rad: float) -> float:
        """Return a toe as a number in this unit."""
        if not self.per_sine:
            return math.degrees(toe_rad) * self.per_deg
        return self.wheels * self.per_sine * math.sin(toe_rad / self.wheels)

    def rad(self, number: float) -> float:
        """Return the toe that a number in this unit means.

        Raises:
            ValueError: a length beyond the diameter that it is measured across.
        """
        if not self.per_sine:
            return math.radians(number / self.per_deg)
        sine = number / (self.wheels * self.per_sine)
        if not abs(sine) <= 1.0:
            raise ValueError(f"{number:g} {self.unit} is more than it is measured across")
        return self.wheels * math.asin(sine)

    def measured(self, toe: Measured) -> Measured:
        """Return a toe (rad) in this unit, with its uncertainty."""
        slope = self.per_sine * math.cos(toe.value / self.wheels)
        if not self.per_sine:
            slope = math.degrees(1.0) * self.per_deg
        return propagate(self.of(toe.value), (slope,), (toe,))
