"""``levelhead runout``: fit the run-out of a turned wheel from a CSV file."""

import argparse
import json
import math
from typing import Any

import numpy as np

from calibration.measured import Measured
from calibration.reporting import on_screen, report, report_unknown
from calibration.units import Unit, degrees
from ingest.commands.tables import F64, Table, read_table
from ingest.core.errors import InputError
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import Runout, RunoutLimits, Turn

NEEDED = ("rotation_deg", "incl_y_deg")
OPTIONAL = ("incl_x_deg", "azimuth_deg")
RIGHT_ANGLE_DEG = 90.0
LARGEST_DEG = 1e6
"""Beyond any turn of a wheel; the angle's own digits would be lost."""

STEP_DEG = 1e-4


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "file",
        metavar="FILE.csv",
        help="columns rotation_deg (the wheel's turn against the vertical) and incl_y_deg, "
        "also incl_x_deg and azimuth_deg; - reads standard input",
    )
    parser.add_argument("--side", required=True, choices=[side.value for side in Side])
    parser.add_argument(
        "--sigma-deg", type=float, help="standard deviation of one reading, where it is known"
    )
    parser.add_argument(
        "--max-u-deg",
        type=float,
        default=0.05,
        help="refuse above this standard uncertainty of the camber (default 0.05)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Fit and print. A refused measurement and bad input leave by their errors."""
    _need_positive("--sigma-deg", args.sigma_deg)
    _need_positive("--max-u-deg", args.max_u_deg)
    table = read_table(args.file, NEEDED, OPTIONAL)
    _check_angles(table)
    runout = fit_runout(
        turn_of(table.columns),
        sigma_rad=None if args.sigma_deg is None else args.sigma_deg * DEG,
        limits=RunoutLimits(u_camber_rad=args.max_u_deg * DEG),
    )
    side = Side(args.side)
    print(json.dumps(as_json(runout, side)) if args.json else as_text(runout, side))
    return 0


def turn_of(columns: dict[str, F64]) -> Turn:
    """Return the columns as a turn; the rotation in a file already is the spin angle."""
    radians = {title: values * DEG for title, values in columns.items()}
    return Turn(
        rotation_rad=radians["rotation_deg"],
        incl_y_rad=radians["incl_y_deg"],
        incl_x_rad=radians.get("incl_x_deg"),
        azimuth_rad=radians.get("azimuth_deg"),
        is_spin=True,
    )


def as_json(runout: Runout, side: Side) -> dict[str, Any]:
    """Return the answer of the plain-file interface: degrees, finite numbers or null."""
    estimates = runout.estimates
    heading = None if runout.heading_rad is None else runout.heading_rad / DEG
    return {
        "camber_deg": runout.camber_rad(side) / DEG,
        "u_camber_deg": _u_deg(runout.camber(side)),
        "heading_deg": heading,
        "u_heading_deg": _u_deg(estimates.heading if estimates else None),
        "runout_deg": runout.clamp.angle_rad / DEG,
        "u_runout_deg": _u_deg(estimates.angle if estimates else None),
        "phase_deg": runout.clamp.phase_rad / DEG % 360.0,
        "u_phase_deg": _u_deg(estimates.phase if estimates else None),
        "dilution": runout.worth.dilution,
        "n": runout.worth.n,
        "dof": runout.dof,
        "rms_deg": runout.rms_rad / DEG,
        "harmonics": runout.harmonics,
        "outliers": [row + 1 for row in runout.outliers],
    }


def as_text(runout: Runout, side: Side) -> str:
    """Return the answer for people."""
    estimates, worth = runout.estimates, runout.worth
    lines = [
        _line("camber", runout.camber_rad(side), runout.camber(side)),
        _line("run-out", runout.clamp.angle_rad, estimates and estimates.angle),
        _line("phase", runout.clamp.phase_rad, estimates and estimates.phase),
    ]
    if runout.heading_rad is not None:
        lines.append(_line("heading", runout.heading_rad, estimates and estimates.heading))
    lines.append(
        f"{worth.n} readings over {worth.arc_rad / DEG:.0f}°, dilution {worth.dilution:.2f}, "
        f"{runout.dof} degrees of freedom, residual rms {runout.rms_rad / DEG:.4f}°"
    )
    if runout.harmonics > 1:
        lines.append("a second harmonic is there: a bent flange, or play in the bearing?")
    if runout.outliers:
        rows = ", ".join(str(row + 1) for row in runout.outliers)
        lines.append(f"left out as outliers: data rows {rows}")
    if estimates is None:
        lines.append("no degrees of freedom: add a reading, or state --sigma-deg")
    return "\n".join(lines)


def _line(name: str, value_rad: float, measured: Any) -> str:
    if isinstance(measured, Measured):
        shown = report(degrees(measured), Unit.DEGREE)
        return f"{name:8} {on_screen(shown.text)}  (k = {shown.k})"
    shown = report_unknown(value_rad / DEG, Unit.DEGREE, resolution=STEP_DEG)
    return f"{name:8} {on_screen(shown.text)}"


def _u_deg(measured: Measured | None) -> float | None:
    return None if measured is None or not math.isfinite(measured.u) else measured.u / DEG


def _need_positive(name: str, value: float | None) -> None:
    if value is not None and not (math.isfinite(value) and value > 0.0):
        raise InputError(name, None, f"{value} is not above 0")


def _check_angles(table: Table) -> None:
    for title, values in table.columns.items():
        tilt = title.startswith("incl")
        limit = RIGHT_ANGLE_DEG if tilt else LARGEST_DEG
        wrong = np.flatnonzero(np.abs(values) >= limit)
        if wrong.size:
            row = int(wrong[0])
            reason = f"{title} is {values[row]:g}, not within {limit:g} deg"
            raise InputError(table.name, table.lines[row], reason)
