"""The answer of ``levelhead sweep`` for people."""

from calibration.measured import Measured
from calibration.reporting import on_screen, report, report_unknown
from calibration.units import Unit, degrees
from ingest.commands.sweep_answer import Answer, turn_of
from ingest.commands.sweep_level import Standing
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.sweep.steering import (
    CLOSING_OUT,
    CREPT,
    FLAT,
    NEGATIVE,
    ONE_SIDE,
    ONE_WAY,
    ROLLS,
    Steering,
    cross_values,
)

STEP_DEG = 1e-4
HINTS = {
    NEGATIVE: "negative-caster: the axis leans forward, or the sign of the steering or of "
    "incl_y is reversed; look at the wheel",
    ROLLS: "axle-rolls: the readings show the axle rolling as it is steered, which takes from the "
    "caster; use --axle-roll fitted, with both wheels",
    CREPT: "wheel-crept: the readings show a small slip of the brake or of the head's lock, which "
    "the figures above allow for; hold the brake, lock the head, sweep again",
    CLOSING_OUT: "closing-reading-left-out: the first or the last reading does not fit the others; "
    "something may have moved, sweep again",
    ONE_SIDE: "steered-to-one-side: a roll of the axle hardly shows; steer as far to the other "
    "side",
    ONE_WAY: "one-way-only: a slip of brake or lock hardly shows; steer back to where the sweep "
    "began and read there again",
    FLAT: "tilts-hardly-move: they move by less than 0.15° in all; do they stand in radians?",
}


def as_text(answer: Answer) -> str:
    """Return the lines."""
    lines: list[str] = []
    for one, reached in zip(answer.steerings, answer.steered, strict=True):
        lines += _wheel(one, answer.standing)
        lines.append(f"  steered {reached[0] / DEG:.1f}° left, {reached[1] / DEG:.1f}° right")
    if answer.axle is not None:
        lines += _between(answer)
    return "\n".join(lines)


def _wheel(one: Steering, standing: Standing) -> list[str]:
    found = one.whole
    lines = [f"{one.side} wheel"]
    lines.append(_line("caster", one.caster_rad, None if found is None else found.caster))
    if one.sai_rad is None or one.included_rad is None:
        lines.append(f"  no SAI: {one.why_no_sai}")
    else:
        lines.append(_line("SAI", one.sai_rad, None if found is None else found.sai))
        lines.append(
            _line("included angle", one.included_rad, None if found is None else found.included)
        )
    lines.append(
        _line("camber", one.camber_rad, None if found is None else found.camber)
        + ", straight ahead"
    )
    if one.axle_roll is not None:
        u = "" if found is None or found.axle_roll is None else f" ± {2 * found.axle_roll.u:.4f}"
        told = f"{one.axle_roll:+.4f}{u}° a degree of steering"
        lines.append(on_screen(f"  {'axle roll':15} {told}"))
    lines += _referred(one, standing)
    lines.append(
        f"  {one.n} readings, {one.dof} degrees of freedom, residual rms {one.rms_rad / DEG:.4f}°"
    )
    lines += _notes(one)
    return lines


def _notes(one: Steering) -> list[str]:
    notes = []
    if one.closure is not None:
        told = ", ".join(f"{gap.channel} {gap.rad / DEG:+.4f}°" for gap in one.closure.gaps)
        notes.append(on_screen(f"  out and back: {told}"))
    if one.sai_rad is not None and one.estimates is not None:
        caster, sai, _ = (2.0 * each / DEG for each in one.u_slip_rad)
        told = f"up to {sai:.3f}° of SAI and {caster:.3f}° of caster"
        notes.append(on_screen(f"  a slip that would not show: {told}, in the figures above"))
    if any(one.by_roll_rad) and one.estimates is not None:
        caster, sai, _ = (2.0 * abs(each) / DEG for each in one.by_roll_rad)
        told = f"{caster:.3f}° of caster" + (f" and {sai:.3f}° of SAI" if one.sai_rad else "")
        notes.append(on_screen(f"  a roll that would not show: up to {told}, in the figures above"))
    if one.outliers:
        rows = ", ".join(str(row + 1) for row in one.outliers)
        notes.append(f"  left out as outliers: data rows {rows}")
    if one.estimates is None:
        notes.append(
            "  no degrees of freedom: nothing here shows a bad reading; take more positions, or "
            "state --sigma-deg"
        )
    return notes + [f"  {HINTS[hint]}" for hint in one.hints]


def _referred(one: Steering, standing: Standing) -> list[str]:
    """Return what the angles are told against besides the vertical, and what they are not."""
    seen, frame, lines = standing.to_plane(one), standing.to_frame(one), []
    if seen is None:
        lines.append("  told against the vertical; not against the bay's standing points (--level)")
    else:
        lines.append(_line("caster", seen.caster.value, seen.caster) + ", to the standing points")
        lines.append(_line("camber", seen.camber.value, seen.camber) + ", to the standing points")
    if frame is None:
        lines.append("  caster is not told against the frame (--frame-deg)")
    else:
        lines.append(_line("caster", frame.value, frame) + ", to the frame")
    return lines


def _between(answer: Answer) -> list[str]:
    left, right = answer.steerings
    cross = cross_values(left, right, whole=True)
    lines = ["left less right"]
    caster, camber = left.caster_rad - right.caster_rad, left.camber_rad - right.camber_rad
    lines.append(_line("cross caster", caster, None if cross is None else cross.caster))
    lines.append(_line("cross camber", camber, None if cross is None else cross.camber))
    if left.sai_rad is not None and right.sai_rad is not None:
        sai = left.sai_rad - right.sai_rad
        lines.append(_line("cross SAI", sai, None if cross is None else cross.sai))
    for inner in Side:
        turn = turn_of(answer, inner)
        if turn["toe_out_deg"] is None:
            lines.append(f"  no toe-out on a turn to the {inner}: steer 20° there, rows in step")
            continue
        ideal = turn.get("rolling_toe_out_deg")
        beside = "" if ideal is None else f" (a turn that scrubs nothing: {ideal:.2f}°)"
        found = on_screen(f"{turn['toe_out_deg']:.2f}°")
        lines.append(f"  toe-out {found} at 20° of the inner wheel, to the {inner}{beside}")
    return lines


def _line(name: str, value_rad: float, measured: Measured | None) -> str:
    if measured is not None:
        shown = report(degrees(measured), Unit.DEGREE)
        return f"  {name:15} {on_screen(shown.text)} (k = {shown.k})"
    shown = report_unknown(value_rad / DEG, Unit.DEGREE, resolution=STEP_DEG)
    return f"  {name:15} {on_screen(shown.text)}"
