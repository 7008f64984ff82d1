"""Text that nothing takes for markup, and numbers, units and dates as a reader sees them."""

import re
from datetime import date
from decimal import Decimal

from calibration.reporting import on_screen
from calibration.units import Unit

UNPRINTABLE = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufeff\ufffe\uffff\ud800-\udfff]"
)
"""Control characters but the line feed, what turns the reading direction, what XML forbids."""
REPLACEMENT = "\ufffd"

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def printable(text: str) -> str:
    """Return the text with a replacement sign for whatever has no place on paper."""
    return UNPRINTABLE.sub(REPLACEMENT, text)


def day(when: date) -> str:
    """Return a date that no country reads in another way, whatever the machine's language."""
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def number(decimal_text: str | None) -> str:
    """Return a decimal text with a true minus sign; a dash for what is not known."""
    return "–" if decimal_text is None else on_screen(decimal_text)


def factor(k: str) -> str:
    """Return a coverage factor with two decimals, which is what its readers expect of it."""
    return f"{Decimal(k):.2f}"


def symbol(unit: str) -> str:
    """Return what is printed after a number, with its space where the SI brochure wants one."""
    try:
        return Unit(unit).symbol
    except ValueError:
        return f" {unit}"


def in_unit(what: str, unit: str) -> str:
    """Return the title of a column or an axis of numbers in a unit: ``Error in °``."""
    sign = symbol(unit).strip()
    return f"{what} in {sign}" if sign else what


def quantity(value: str, unit: str) -> str:
    """Return a value with its unit."""
    return f"{number(value)}{symbol(unit)}"


def expanded(value: str, U: str | None, unit: str) -> str:  # noqa: N803
    """Return ``(value ± U) unit``, as the record has rounded them; the value alone without U."""
    if U is None:
        return quantity(value, unit)
    return f"({number(value)} ± {number(U)}){symbol(unit)}"


def count(n: int, one: str, many: str | None = None) -> str:
    """Return a number of things: ``1 reading``, ``3 readings``."""
    return f"{n} {one if n == 1 else many or one + 's'}"
