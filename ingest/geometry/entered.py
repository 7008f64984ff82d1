"""Numbers as people enter them (0.15, 1/16, 0:05.5), read exactly and written exactly."""

import re
from fractions import Fraction

MOST_CHARACTERS = 40
SHOWN = 24
DECIMAL = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,2})?")
FRACTION = re.compile(r"([+-]?)(?:([0-9]+)[ -])?([0-9]+)/([0-9]+)")
PARTED = re.compile(r"([+-]?)([0-9]+)(?:°|d|:|\s)\s*([0-9]+(?:\.[0-9]+)?)\s*['m]?")
MINUTES = 60
DIGITS = 12
"""Decimals that a number worked out from others is written with at the most."""


def rational(text: str) -> Fraction:
    """Return a decimal number, or a fraction as inches are written (1/16, 1 1/8), exactly.

    Raises:
        ValueError: it is no finite number.
    """
    stripped = text.strip()
    if len(stripped) <= MOST_CHARACTERS:
        if DECIMAL.fullmatch(stripped):
            return Fraction(stripped)
        parts = FRACTION.fullmatch(stripped)
        if parts is not None and int(parts[4]):
            size = int(parts[2] or 0) + Fraction(int(parts[3]), int(parts[4]))
            return -size if parts[1] == "-" else size
    hint = "; use a point, not a comma" if "," in text else ""
    raise ValueError(f"{text[:SHOWN]!r} is not a finite number{hint}")


def parted(text: str) -> Fraction:
    """Return the degrees of degrees and minutes, exactly.

    The sign holds for both: -0:05 is five minutes below zero. Raises ``ValueError``.
    """
    parts = PARTED.fullmatch(text.strip()) if len(text) <= MOST_CHARACTERS else None
    if parts is None:
        reason = "is not degrees and minutes; write 0:05.5, or -0:05.5"
        raise ValueError(f"{text[:SHOWN]!r} {reason}")
    sign, degrees, minutes = parts.groups()
    if Fraction(minutes) >= MINUTES:
        raise ValueError(f"{text[:SHOWN]!r} has {minutes} minutes; a degree has 60")
    size = int(degrees) + Fraction(minutes) / MINUTES
    return -size if sign == "-" else size


def written(number: Fraction, *, upward: bool) -> str:
    """Return a decimal text of a number, exact where ``DIGITS`` decimals are enough for it.

    Else it is rounded to them, ``upward`` or downward.
    """
    scaled = number * 10**DIGITS
    whole = -(-scaled.numerator // scaled.denominator) if upward else scaled // 1
    sign = "-" if whole < 0 else ""
    digits = f"{abs(whole):0{DIGITS + 1}d}"
    decimals = digits[-DIGITS:].rstrip("0")
    return f"{sign}{digits[:-DIGITS]}{'.' if decimals else ''}{decimals}"


def written_parted(degrees: Fraction, *, upward: bool) -> str:
    """Return degrees as degrees and minutes, rounded as ``written`` does."""
    minutes = rational(written(degrees * MINUTES, upward=upward))
    whole, rest = divmod(abs(minutes), MINUTES)
    text = written(rest, upward=False)
    padded = text if rest >= 10 else f"0{text}"
    return f"{'-' if minutes < 0 else ''}{whole}:{padded}"
