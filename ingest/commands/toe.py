"""``levelhead toe``: a toe in all units of the trade, with the diameter that a length refers to."""

import argparse
import json
import math
import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from calibration.reporting import on_screen
from calibration.rounding import decimal
from ingest.core.errors import InputError
from ingest.geometry.entered import parted, rational
from ingest.geometry.toe import MM_PER_INCH, ToeScale, ToeUnit

PARTED = "deg-min"
UNITS = (ToeUnit.DEGREE.value, PARTED, *(unit.value for unit in ToeUnit if unit != "deg"))
LARGEST_DEG = 20.0
"""No wheel is toed by more; a larger one is another unit."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments. Numbers are read in ``run``, for a one-line message."""
    # argparse knows -1.5 as a number, but takes -1/16 and -0:05 for options.
    parser._negative_number_matcher = re.compile(r"^-\d.*$|^-\.\d+$")
    parser.add_argument("value", metavar="VALUE", help="0.15, 0:05.5 (deg-min) or 1/16; toe-in +")
    parser.add_argument("unit", metavar="UNIT", help=f"one of {', '.join(UNITS)}")
    parser.add_argument(
        "--diameter-mm", metavar="D", help="diameter that mm and inches are measured across"
    )
    parser.add_argument("--diameter-in", metavar="D", help="the same in inches")
    parser.add_argument(
        "--total", action="store_true", help="the value is an axle's total toe, of two wheels"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Convert and print. Raises ``InputError`` where an argument is unusable."""
    diameter_m = _diameter_m(args.diameter_mm, args.diameter_in)
    wheels = 2 if args.total else 1
    toe_rad = _toe_rad(args.value.strip(), args.unit, wheels, diameter_m)
    if not abs(math.degrees(toe_rad)) <= LARGEST_DEG:
        reason = f"{args.value} {args.unit} is {math.degrees(toe_rad):.4g} deg of toe; no wheel has"
        raise InputError("VALUE", None, f"{reason} more than {LARGEST_DEG:g}; is the unit right?")
    told = _told(toe_rad, wheels, diameter_m)
    print(json.dumps(told) if args.json else _text(told))
    return 0


def _diameter_m(mm: str | None, inches: str | None) -> float | None:
    if mm is not None and inches is not None:
        raise InputError("--diameter-in", None, "the diameter is given twice; give one of them")
    if mm is None and inches is None:
        return None
    option = "--diameter-mm" if mm is not None else "--diameter-in"
    value = _number(option, mm if mm is not None else inches or "")
    if not value > 0.0:
        raise InputError(option, None, f"{value:g} is not above 0")
    return value * (1.0 if mm is not None else MM_PER_INCH) * 1e-3


def _toe_rad(value: str, unit: str, wheels: int, diameter_m: float | None) -> float:
    if unit == PARTED:
        return math.radians(_parted(value))
    try:
        kind = ToeUnit(unit)
    except ValueError:
        reason = f"{unit[:24]!r} is no unit of toe; choose one of {', '.join(UNITS)}"
        raise InputError("UNIT", None, reason) from None
    number = _number("VALUE", value)
    try:
        return ToeScale(kind, wheels, diameter_m).rad(number)
    except ValueError as error:
        option = "--diameter-mm, --diameter-in" if diameter_m is None else "VALUE"
        raise InputError(option, None, str(error)) from error


def _number(option: str, text: str) -> float:
    """Return a decimal number, or a fraction as inches are written (1/16, 1 1/8)."""
    try:
        return float(rational(text))
    except ValueError as error:
        raise InputError(option, None, str(error)) from error


def _parted(text: str) -> float:
    """Return degrees of degrees and minutes."""
    try:
        return float(parted(text))
    except ValueError as error:
        raise InputError("VALUE", None, str(error)) from error


def _told(toe_rad: float, wheels: int, diameter_m: float | None) -> dict[str, Any]:
    def told(unit: ToeUnit) -> float | None:
        if unit.across and diameter_m is None:
            return None
        return ToeScale(unit, wheels, diameter_m).of(toe_rad)

    diameter_mm = None if diameter_m is None else diameter_m * 1e3
    return {
        "of": "axle" if wheels == 2 else "wheel",
        "deg": told(ToeUnit.DEGREE),
        "deg_min": _deg_min(math.degrees(toe_rad)),
        "arcmin": told(ToeUnit.ARC_MINUTE),
        "mm_per_m": told(ToeUnit.MILLIMETRE_PER_METRE),
        "mm": told(ToeUnit.MILLIMETRE),
        "in": told(ToeUnit.INCH),
        "diameter_mm": diameter_mm,
        "diameter_in": None if diameter_mm is None else diameter_mm / MM_PER_INCH,
    }


def _deg_min(toe_deg: float) -> str:
    """Return degrees and minutes to the thousandth, as ``deg-min`` reads them."""
    minutes = (decimal(toe_deg) * 60).quantize(Decimal("0.001"), ROUND_HALF_EVEN)
    whole, rest = divmod(abs(minutes), 60)
    return f"{'-' if minutes < 0 else ''}{whole:.0f}:{rest:06.3f}"


def _text(told: dict[str, Any]) -> str:
    rows = [
        f"toe of {'an axle, both wheels together' if told['of'] == 'axle' else 'one wheel'}",
        on_screen(f"  {told['deg']:.5f}°"),
        on_screen(f"  {told['deg_min']} (degrees:minutes)"),
        on_screen(f"  {told['mm_per_m']:.5f} mm/m"),
    ]
    if told["diameter_mm"] is None:
        rows.append("  mm and inches: only across a stated diameter (--diameter-mm, --diameter-in)")
        return "\n".join(rows)
    at = f"across {told['diameter_mm']:.6g} mm ({told['diameter_in']:.6g} in)"
    rows += [on_screen(f"  {told['mm']:.5f} mm"), on_screen(f"  {told['in']:.6f} in")]
    return "\n".join([*rows[:-2], f"{rows[-2]} {at}", f"{rows[-1]} {at}"])
