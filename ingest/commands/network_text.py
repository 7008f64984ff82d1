"""The answer of ``levelhead network`` for people."""

from collections.abc import Iterator

from calibration.measured import Measured
from calibration.reporting import on_screen, report
from calibration.units import Unit, degrees
from ingest.commands.network_answer import ROUNDING, Answer
from ingest.geometry.network.proving import Foretold
from ingest.geometry.network.results import Result

WORDS = {
    "toe": "toe",
    "heading": "heading",
    "scrub": "scrub angle",
    "total_toe": "total toe",
    "setback": "setback",
    "lateral_offset": "lateral offset",
    "thrust": "thrust angle",
    "drive_heading": "mean drive heading",
    "parallelism": "steer axles apart",
}
TO_A_SIDE = ("heading", "thrust", "drive_heading", "lateral_offset")
"""Told with the word left or right."""

MM_PER_M = 1e3


def as_text(found: Answer, notes: list[str], *, design: bool) -> str:
    """Return what was found, a quantity a line, then the fit, the proof and the notes."""
    lines = [_line(result, design=design) for result in found.results]
    if not found.results:
        lines += _positions(found, design=design)
    lines += ["", _fit(found, design=design)]
    proof = [_proof(each, design=design) for each in found.proof]
    if proof:
        lines += ["", "to prove it by tape:", *proof]
    if notes:
        lines += ["", *notes]
    return "\n".join(lines)


def _line(result: Result, *, design: bool) -> str:
    quantity, measured = result.quantity, result.measured
    name = f"{WORDS[quantity.name]} {quantity.of}".strip()
    if measured is None:
        return f"{name:24} not determined"
    if not measured.parts:
        return f"{name:24} {measured.value:g}, by definition"
    told = degrees(measured) if quantity.angular else measured * MM_PER_M
    unit = Unit.DEGREE if quantity.angular else Unit.MILLIMETRE
    if measured.u < ROUNDING:
        return on_screen(f"{name:24} {told.value:.3f}{unit.symbol}, by the fixed stations")
    return f"{name:24} {_shown(told, unit, design, quantity.name in TO_A_SIDE)}"


def _shown(told: Measured, unit: Unit, design: bool, sided: bool) -> str:
    shown = report(told, unit)
    if design:
        return f"U = {shown.U:.{shown.dp}f}{unit.symbol}  (k = {shown.k})"
    side = ""
    if sided and shown.value != 0.0:
        side = "  to the left" if shown.value > 0.0 else "  to the right"
    return f"{on_screen(shown.text)}{side}  (k = {shown.k})"


def _positions(found: Answer, *, design: bool) -> Iterator[str]:
    adjusted = found.adjusted
    covariance = adjusted.covariance
    for station in adjusted.network.stations:
        if station.id not in found.placed:
            yield f"{station.id:12} not determined"
            continue
        x = adjusted.unknowns.x(station.id)
        u_mm = [1e3 * max(float(covariance[i, i]), 0.0) ** 0.5 for i in (x, x + 1)]
        at = "" if design else f"x {adjusted.state[x]:.4f} m, y {adjusted.state[x + 1]:.4f} m, "
        yield f"{station.id:12} {at}u {u_mm[0]:.2f} and {u_mm[1]:.2f} mm"


def _fit(found: Answer, *, design: bool) -> str:
    judgement = found.judgement
    used = len(found.adjusted.rows)
    if design:
        return f"{used} readings, {judgement.dof} degrees of freedom"
    limits = judgement.chi2_limits
    expected = "" if limits is None else f" (expected {limits[0]:.2f} to {limits[1]:.2f})"
    return (
        f"{used} readings, {judgement.dof} degrees of freedom, "
        f"chi-square {judgement.chi2:.2f}{expected}"
    )


def _proof(each: Foretold, *, design: bool) -> str:
    name = f"{each.at} to {each.to}"
    if each.less is not None:
        name += f" less {each.less[0]} to {each.less[1]}"
    if each.told is None:
        return f"{name:24} not determined"
    told = each.told * MM_PER_M
    line = f"{name:24} {_shown(told, Unit.MILLIMETRE, design, False)}"
    if design or each.read is None or each.off is None:
        return line
    off = report(each.off * MM_PER_M, Unit.MILLIMETRE)
    word = "agrees" if each.agrees else "DOES NOT AGREE"
    return f"{line}; taped {each.read.value * MM_PER_M:.1f} mm, {word}: {on_screen(off.text)}"
