"""The units that limits are entered in, each converted exactly and kept as it was entered."""

import math
import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from calibration.measured import Measured
from ingest.geometry.entered import parted, rational, written, written_parted
from ingest.geometry.toe import MM_PER_INCH, ToeScale, ToeUnit
from ingest.job.limits.quantities import Form, Quantity

MM = 1e-3
ACROSS = re.compile(r"(.+?) ?(mm|in)")
SHORTEST_MM, LONGEST_MM = 100.0, 5000.0
"""Between a small rim and a wide axle; beyond them it is another unit."""


class EnteredUnit(StrEnum):
    """The words of ``levelhead toe``."""

    DEGREE = "deg"
    DEGREES_MINUTES = "deg-min"
    ARC_MINUTE = "arcmin"
    MILLIMETRE_PER_METRE = "mm/m"
    MILLIMETRE = "mm"
    INCH = "in"

    @property
    def is_length(self) -> bool:
        """Whether it is a length, which of an angle needs what it is measured across."""
        return self in (EnteredUnit.MILLIMETRE, EnteredUnit.INCH)

    @property
    def symbol(self) -> str:
        """What stands after a number for people."""
        return {"deg": "°", "deg-min": "", "arcmin": "′"}.get(self.value, f" {self.value}")

    def number(self, text: str) -> Fraction:
        """Return what a text says in this unit, degrees where it is degrees and minutes.

        Raises ``ValueError``.
        """
        return parted(text) if self is EnteredUnit.DEGREES_MINUTES else rational(text)

    def text(self, number: Fraction, *, upward: bool) -> str:
        """Return a number of this unit as it would be entered."""
        if self is EnteredUnit.DEGREES_MINUTES:
            return written_parted(number, upward=upward)
        return written(number, upward=upward)


@dataclass(frozen=True, slots=True)
class Scale:
    """What turns a number of a unit into radians (metres for a length), and back."""

    toe: ToeScale | None
    m_per_unit: float = 0.0

    def si(self, number: float) -> float:
        """Return a number of the unit in rad or m. Raises ``ValueError``."""
        return number * self.m_per_unit if self.toe is None else self.toe.rad(number)

    def measured(self, value: Measured) -> Measured:
        """Return a value (rad or m) in the unit, with its uncertainty."""
        return value * (1.0 / self.m_per_unit) if self.toe is None else self.toe.measured(value)


def scale_of(quantity: Quantity, unit: EnteredUnit, across: str | None) -> Scale:
    """Return the scale of a quantity's unit; ``across`` as it was entered.

    Raises:
        ValueError: the quantity has no such unit, or ``across`` is missing or not wanted.
    """
    kind = quantity.kind
    if kind.form is Form.LENGTH and not unit.is_length:
        raise ValueError(f"{quantity} is a length; give it in mm or in")
    if kind.form is Form.ANGLE and (unit.is_length or unit is EnteredUnit.MILLIMETRE_PER_METRE):
        raise ValueError(f"{quantity} is told in deg, deg-min or arcmin, not in {unit}")
    crossing = unit.is_length and kind.form is Form.SLOPE
    if across is not None and not crossing:
        raise ValueError(f"{quantity} in {unit} is not measured across a length; leave across out")
    if crossing and across is None:
        reason = "say across what length it is measured, such as 571.5 mm or 22.5 in"
        raise ValueError(
            f"{quantity} in {unit} is no angle without its reference diameter; {reason}"
        )
    if kind.form is Form.LENGTH:
        return Scale(None, MM * (MM_PER_INCH if unit is EnteredUnit.INCH else 1.0))
    parted_unit = unit is EnteredUnit.DEGREES_MINUTES
    toe_unit = ToeUnit.DEGREE if parted_unit else ToeUnit(unit.value)
    return Scale(ToeScale(toe_unit, kind.wheels, None if across is None else across_m(across)))


def across_m(text: str) -> float:
    """Return the length that a figure is measured across, m. Raises ``ValueError``."""
    parts = ACROSS.fullmatch(text.strip())
    if parts is None:
        raise ValueError(f"across is {text[:24]!r}; write 571.5 mm or 22.5 in")
    mm = float(rational(parts[1])) * (MM_PER_INCH if parts[2] == "in" else 1.0)
    if not SHORTEST_MM <= mm <= LONGEST_MM:
        reason = f"between {SHORTEST_MM:g} and {LONGEST_MM:g} mm is possible; is the unit right?"
        raise ValueError(f"across is {mm:g} mm; {reason}")
    return mm * MM


def common(quantity: Quantity, si: float) -> float:
    """Return a figure in the unit that all of its kind share: deg, or mm for lengths."""
    return si / MM if quantity.kind.form is Form.LENGTH else math.degrees(si)


def common_unit(quantity: Quantity) -> str:
    """Return the name of that unit."""
    return "mm" if quantity.kind.form is Form.LENGTH else "deg"
