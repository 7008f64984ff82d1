"""``levelhead level``: how a bay stands, from the readings of its standing points."""

import argparse
import datetime
import json
import math
from typing import Any

import numpy as np

from calibration.measured import Measured
from calibration.reporting import on_screen, report
from calibration.units import Unit, degrees
from ingest.commands.tables import read_text
from ingest.core.errors import InputError
from ingest.geometry.level.heights import Heights
from ingest.geometry.level.plane import StandingPlane
from ingest.payload.level_file import LevelFile, load_level

MM = 1e3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE.json", help="readings of the points; - for stdin")
    parser.add_argument("--on", metavar="DAY", help="is it still valid on this day? (today)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Work out the plane and print. A survey that is overdue is told, not refused, here."""
    where, text = read_text(args.file)
    level, today = load_level(text, where), day_of("--on", args.on)
    heights = level.heights()
    plane = level.plane()
    told = _told(level, heights, plane, today)
    print(json.dumps(told) if args.json else _text(told, plane, today))
    return 0


def day_of(option: str, text: str | None) -> datetime.date:
    """Return the day that an option names, today where it is not given."""
    if text is None:
        return datetime.datetime.now(datetime.UTC).date()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        reason = f"{text[:24]!r} is no day; write it as 2026-11-28"
        raise InputError(option, None, reason) from None


def angle(slope: Measured) -> Measured:
    """Return a slope (a tangent) as an angle, rad."""
    steep = 1.0 / (1.0 + slope.value**2)
    return (slope + -slope.value) * steep + math.atan(slope.value)


def _told(
    level: LevelFile, heights: Heights, plane: StandingPlane, today: datetime.date
) -> dict[str, Any]:
    u_m = np.sqrt(heights.covariance_m2.diagonal())
    points = zip(heights.points, heights.height_m, u_m, plane.off_m, strict=True)
    along, across = degrees(angle(plane.lengthwise)), degrees(angle(plane.crosswise))
    return {
        "bay": level.bay,
        "measured": level.measured.isoformat(),
        "due": level.due.isoformat(),
        "overdue": today > level.due,
        "lengthwise_deg": along.value,
        "u_lengthwise_deg": along.u,
        "crosswise_deg": across.value,
        "u_crosswise_deg": across.u,
        "flatness_mm": float(np.abs(plane.off_m).max()) * MM,
        "points": [
            {
                "id": point.id,
                "height_mm": float(height) * MM,
                "u_height_mm": float(u) * MM,
                "off_plane_mm": float(off) * MM,
            }
            for point, height, u, off in points
        ],
        "dof": heights.dof,
        "chi2": heights.chi2,
    }


def _text(told: dict[str, Any], plane: StandingPlane, today: datetime.date) -> str:
    def line(what: str, slope: Measured, high: str, low: str) -> str:
        shown = on_screen(report(degrees(angle(slope)), Unit.DEGREE).text)
        return f"{what:10} {shown}, {high if slope.value >= 0.0 else low} higher"

    lines = [
        f"standing points of {told['bay']}, read {told['measured']}, valid to {told['due']}",
        line("lengthwise", plane.lengthwise, "front", "rear"),
        line("crosswise", plane.crosswise, "left", "right"),
    ]
    lines += [
        on_screen(f"  {p['id']:8} {p['height_mm']:8.2f} mm, {p['off_plane_mm']:+.2f} off the plane")
        for p in told["points"]
    ]
    lines.append(
        f"furthest off the plane {told['flatness_mm']:.2f} mm; {told['dof']} degrees of freedom"
    )
    if told["dof"] == 0:
        lines.append("nothing here contradicts a bad reading: read a point twice, or one more")
    if told["measured"] > today.isoformat():
        lines.append(f"dated after {today.isoformat()}: check the date of the file and the clock")
    if told["overdue"]:
        lines.append("OVERDUE: no result may stand on it; read the empty bay again")
    return "\n".join(lines)
