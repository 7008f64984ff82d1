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
from ingest.geometry.runout import BENT, ODD_STOP, UNSTEADY, Runout, RunoutLimits, Turn
from ingest.geometry.sightline import OFFSET_RMS_M, Sightline
from ingest.geometry.terms import ON_A_JACK, ROLLED

NEEDED = ("rotation_deg", "incl_y_deg")
OPTIONAL = ("incl_x_deg", "azimuth_deg")
RIGHT_ANGLE_DEG = 90.0
LARGEST_DEG = 1e6
"""Beyond any turn of a wheel; the angle's own digits would be lost."""

STEP_DEG = 1e-4
SECOND = ("second_deg", "u_second_deg", "second_phase_deg", "u_second_phase_deg")
HINTS = {
    BENT: "bent-flange-or-loose-bearing: the axis moves twice a turn; look at flange and bearing",
    UNSTEADY: "unsteady: something may have moved during the turn; turn again to be sure",
    ODD_STOP: "one-stop-disagrees: the others speak against data row {row}; take it again",
}
"""What a hint means to the person at the wheel."""


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
    parser.add_argument(
        "--line-m", type=float, help="length of the sightline, port to port, where it is known"
    )
    parser.add_argument(
        "--eccentricity-mm",
        type=float,
        default=OFFSET_RMS_M * 1e3,
        help="how far off centre a clamp sits, root mean square, to any side; lets azimuth_deg "
        "tell of the cone on a short roll, with --line-m (default 2)",
    )
    parser.add_argument(
        "--rolled", action="store_true", help="the wheel was rolled over the floor, not jacked"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Fit and print. A refused measurement and bad input leave by their errors."""
    _need_positive("--sigma-deg", args.sigma_deg)
    _need_positive("--max-u-deg", args.max_u_deg)
    _need_positive("--line-m", args.line_m)
    _need_positive("--eccentricity-mm", args.eccentricity_mm)
    table = read_table(args.file, NEEDED, OPTIONAL)
    _check_angles(table)
    runout = fit_runout(
        turn_of(table.columns),
        sightline=Sightline(length_m=args.line_m, offset_rms_m=args.eccentricity_mm * 1e-3),
        sigma_rad=None if args.sigma_deg is None else args.sigma_deg * DEG,
        limits=RunoutLimits(u_camber_rad=args.max_u_deg * DEG),
        terms=ROLLED if args.rolled else ON_A_JACK,
    )
    side = Side(args.side)
    print(json.dumps(as_json(runout, side, args.line_m)) if args.json else as_text(runout, side))
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


def as_json(runout: Runout, side: Side, line_m: float | None = None) -> dict[str, Any]:
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
        "hints": list(runout.hints),
        **_eccentricity(runout, line_m),
        **_second(runout),
    }


def _eccentricity(runout: Runout, line_m: float | None) -> dict[str, float | None]:
    """Return the eccentricity, where the length of the sightline tells it in millimetres."""
    found, estimates = runout.eccentricity, runout.estimates
    if found is None or found.offset_m is None or line_m is None:
        return {"eccentricity_mm": None, "u_eccentricity_mm": None}
    swing = estimates.swing if estimates else None
    return {
        "eccentricity_mm": found.offset_m * 1e3,
        "u_eccentricity_mm": None if swing is None else swing.u * line_m * 1e3,
    }


def _second(runout: Runout) -> dict[str, float | None]:
    """Return the second harmonic, null where the readings prove none."""
    second = runout.second
    if second is None:
        return dict.fromkeys(SECOND)
    amplitude, phase = second.amplitude, second.phase
    told = (amplitude.value / DEG, _u_deg(amplitude), phase.value / DEG, _u_deg(phase))
    return dict(zip(SECOND, told, strict=True))


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
    if runout.second is not None:
        amplitude = runout.second.amplitude
        lines.append(_line("second harmonic", amplitude.value, amplitude))
    if runout.outliers:
        rows = ", ".join(str(row + 1) for row in runout.outliers)
        lines.append(f"left out as outliers: data rows {rows}")
    lines += [HINTS[hint].format(row=(runout.odd_stop or 0) + 1) for hint in runout.hints]
    if estimates is None:
        lines.append(
            "no degrees of freedom: so few readings cannot show a bad one among them; add one, "
            "or state --sigma-deg"
        )
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
