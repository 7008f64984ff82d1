"""Reporting a value with its expanded uncertainty, in digits that both deserve.

Rounding and coverage follow JCGM 100:2008 (7.2 and annex G); signs and spaces the SI brochure.
Decisions are made before this, on unrounded numbers.
"""

import math
from dataclasses import dataclass

from scipy import special

from calibration.measured import Measured
from calibration.rounding import Place, decimal, place_of, place_of_resolution
from calibration.units import Unit

P = 0.9545
"""Coverage probability of every expanded uncertainty: two standard deviations' worth."""

MANY = 50
"""From this many effective degrees of freedom on, k = 2 (common practice)."""

EXACT = Place(-9)
"""Where a value without any uncertainty stops showing digits."""

MOST_EXTRA_DIGITS = 3


def t_factor(p: float, dof: float) -> float:
    """Return the two-sided Student factor t_p(dof), normal for infinite dof (table G.2)."""
    tail = (1.0 + p) / 2.0
    return float(special.ndtri(tail) if math.isinf(dof) else special.stdtrit(dof, tail))


def coverage_factor(dof: float) -> float:
    """Return k: 2 for many effective degrees of freedom, else the t factor at 95.45 %."""
    return 2.0 if dof >= MANY else t_factor(P, dof)


def resolution_u(step: float) -> float:
    """Return the standard uncertainty of one indication in steps of ``step`` (GUM F.2.2.1)."""
    return step / math.sqrt(12.0)


@dataclass(frozen=True, slots=True)
class Reported:
    """A result as it is printed and published; all numbers are already rounded.

    ``U``, ``k`` and ``p`` are None where the uncertainty is not known. ``dp`` is how many
    decimals to show. ``text`` is for machines (ASCII minus, decimal point). ``reference_mm``
    is the length that a toe in mm or inch refers to.
    """

    value: float
    U: float | None
    k: float | None
    p: float | None
    dp: int
    unit: Unit
    text: str
    reference_mm: float | None = None

    def screen(self, decimal_mark: str = ".") -> str:
        """Return the text for people: a true minus sign and the locale's decimal mark."""
        return on_screen(self.text, decimal_mark)


def on_screen(text: str, decimal_mark: str = ".") -> str:
    """Turn a machine text of numbers into one for people."""
    return text.replace("-", "\u2212").replace(".", decimal_mark)


def report(
    measured: Measured,
    unit: Unit,
    *,
    digits: int = 2,
    resolution: float | None = None,
    low: float | None = None,
    high: float | None = None,
    reference_mm: float | None = None,
) -> Reported:
    """Report a measured value, expanded by the factor that its degrees of freedom call for.

    Args:
        measured: the value in ``unit``, with the indication's resolution among its parts.
        digits: significant digits of U; 2, or 1 on a live screen.
        resolution: smallest step of the indication, in ``unit``; nothing finer is shown, and
            U is not reported below what that step alone is worth.
        low, high: limits that were decided against; a digit is added where rounding would put
            the value on the other side of one.
        reference_mm: the length that a toe in mm or inch refers to.
    """
    k = coverage_factor(measured.dof)
    return report_expanded(
        measured.value,
        k * measured.u,
        unit,
        k=k,
        digits=digits,
        resolution=resolution,
        low=low,
        high=high,
        reference_mm=reference_mm,
    )


def report_expanded(
    value: float,
    U: float,  # noqa: N803  (the symbol of every standard for it)
    unit: Unit,
    *,
    k: float = 2.0,
    digits: int = 2,
    resolution: float | None = None,
    low: float | None = None,
    high: float | None = None,
    reference_mm: float | None = None,
) -> Reported:
    """Report a value whose expanded uncertainty ``U`` = k u is known; see ``report``.

    Raises:
        ValueError: a number is not finite, or ``U`` is negative.
    """
    if not (math.isfinite(value) and math.isfinite(U) and U >= 0):
        raise ValueError(f"{value} with an expanded uncertainty of {U} cannot be reported")
    if resolution:
        U = max(U, k * resolution_u(resolution))  # noqa: N806
    place = _place(U, digits, resolution)
    place = _clear_of_limits(value, place, low, high)
    rounded, widened = place.nearest(value), place.upward(U)
    text = f"({place.text(rounded)} ± {place.text(widened)}){unit.symbol}{_at(reference_mm)}"
    return Reported(
        float(rounded), float(widened), round(k, 2), P, place.dp, unit, text, reference_mm
    )


def report_unknown(value: float, unit: Unit, *, resolution: float) -> Reported:
    """Report a value whose uncertainty nobody knows: digits of the resolution, and the words."""
    place = place_of_resolution(resolution)
    rounded = place.nearest(value)
    text = f"{place.text(rounded)}{unit.symbol} (uncertainty not known)"
    return Reported(float(rounded), None, None, None, place.dp, unit, text)


def degree_minutes(value_deg: float, U_deg: float | None = None) -> str:  # noqa: N803
    """Return degrees and whole minutes for a display, tenths only where U is below 1'.

    ``U_deg`` is rounded up and appended where given. ASCII minus; see ``on_screen``.
    """
    U_min = None if U_deg is None else float(decimal(U_deg) * 60)  # noqa: N806
    place = Place(-1) if U_min is not None and U_min < 1 else Place(0)
    minutes = place.nearest(float(decimal(value_deg) * 60))
    whole, rest = divmod(abs(minutes), 60)
    sign = "-" if minutes < 0 else ""
    width = 4 if place.dp else 2
    text = f"{sign}{whole:.0f}°{rest:0{width}.{place.dp}f}'"
    return text if U_min is None else f"{text} ± {place.text(place.upward(U_min))}'"


def _place(U: float, digits: int, resolution: float | None) -> Place:  # noqa: N803
    if U == 0:
        return EXACT
    place = place_of(U, digits)
    if not resolution:
        return place
    return Place(max(place.exponent, place_of_resolution(resolution).exponent))


def _clear_of_limits(value: float, place: Place, low: float | None, high: float | None) -> Place:
    """Return the first finer place at which the rounded value tells the same as the value."""
    for finer in range(MOST_EXTRA_DIGITS + 1):
        candidate = Place(place.exponent - finer)
        shown = float(candidate.nearest(value))
        same_low = low is None or (shown >= low) == (value >= low)
        if same_low and (high is None or (shown <= high) == (value <= high)):
            return candidate
    return place


def _at(reference_mm: float | None) -> str:
    return "" if reference_mm is None else f" at {reference_mm:g} mm"
