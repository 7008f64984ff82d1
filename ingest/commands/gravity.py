"""``levelhead gravity``: local gravity, and what a sensor's scale is off by elsewhere."""

import argparse
import json
import math
import re

from calibration.fits.gravity import local_gravity_m_s2
from ingest.core.errors import InputError

STANDARD_M_S2 = 9.80665
"""Standard gravity (3rd General Conference on Weights and Measures, 1901)."""
HEIGHTS_M = (-500.0, 9000.0)
EXAMPLE_DEG = 5.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    # argparse knows -33.9 as a number, but takes -1e-3 for an option.
    parser._negative_number_matcher = re.compile(r"^-(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$")
    parser.add_argument("latitude", metavar="LATITUDE_DEG", help="of the place; south is negative")
    parser.add_argument("--height", metavar="M", default="0", help="above the sea (default 0)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Compute and print."""
    latitude_deg = _number("LATITUDE_DEG", args.latitude, -90.0, 90.0)
    height_m = _number("--height", args.height, *HEIGHTS_M)
    local = local_gravity_m_s2(math.radians(latitude_deg), height_m)
    off = local / STANDARD_M_S2 - 1.0
    tilt_deg = math.degrees(math.asin(math.sin(math.radians(EXAMPLE_DEG)) * (1.0 + off)))
    if args.json:
        found = {"gravity_m_s2": local, "of_standard": 1.0 + off, "scale_error": off}
        print(json.dumps(found))
        return 0
    print(f"local gravity {local:.4f} m/s², {1.0 + off:.5f} of standard; to some 0.0005 m/s²,")
    print("since what lies under the ground is not in the formula (WELMEC).")
    print(
        f"A head whose firmware divides by {STANDARD_M_S2} m/s² reads the sine of a tilt "
        f"{off:+.3%} off here: {tilt_deg - EXAMPLE_DEG:+.4f}° at {EXAMPLE_DEG:g}°. A calibration "
        "takes that into the scale, for the place where it was made."
    )
    return 0


def _number(option: str, text: str, low: float, high: float) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not low <= number <= high:
        raise InputError(option, None, f"{text!r} is no number from {low:g} to {high:g}")
    return number
