"""Rounding a value to its uncertainty (JCGM 100:2008, 7.2.6), exactly, in decimals."""

from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

SLACK = Decimal("0.05")
"""What may be cut off an uncertainty without rounding it up, in units of the last digit kept:
28.05 becomes 28, but 10.47 becomes 11."""


def decimal(number: float) -> Decimal:
    """Return the shortest decimal that reads back as this float: what a person typed."""
    return Decimal(repr(float(number)))


@dataclass(frozen=True, slots=True)
class Place:
    """A decimal place: 10 to the power ``exponent`` (-3 for thousandths, 1 for tens)."""

    exponent: int

    @property
    def unit(self) -> Decimal:
        """One unit of the place."""
        return Decimal(1).scaleb(self.exponent)

    @property
    def dp(self) -> int:
        """Decimals to show: none for units, tens and hundreds."""
        return max(0, -self.exponent)

    def nearest(self, number: float) -> Decimal:
        """Round to this place, ties to even; a zero has no sign."""
        rounded = (decimal(number) / self.unit).to_integral_value(ROUND_HALF_EVEN) * self.unit
        return abs(rounded) if rounded == 0 else rounded

    def upward(self, uncertainty: float) -> Decimal:
        """Round an uncertainty to this place, upward but for ``SLACK``; never to zero."""
        count = decimal(uncertainty) / self.unit
        whole = count.to_integral_value(ROUND_FLOOR)
        if count - whole > SLACK or (whole == 0 and count > 0):
            whole += 1
        return whole * self.unit

    def text(self, number: Decimal) -> str:
        """Return the number with the decimals of this place, ASCII minus."""
        return f"{number:.{self.dp}f}"


def place_of(uncertainty: float, digits: int) -> Place:
    """Return the place of the last of ``digits`` significant digits once rounded upward."""
    first = decimal(uncertainty).adjusted()
    place = Place(first - digits + 1)
    carried = place.upward(uncertainty).adjusted() > first
    return Place(place.exponent + 1) if carried else place


def place_of_resolution(resolution: float) -> Place:
    """Return the place of the first digit of a smallest step: 0.01 and 0.05 give hundredths."""
    return Place(decimal(resolution).adjusted())
