"""``levelhead calibrate tilt``: all tilt files of one head in one fit."""

import argparse
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from calibration.bench.tumble import SIDES
from calibration.drafting.draft import filled, summary
from calibration.drafting.tilt import TiltFound, find_tilt
from calibration.drafting.tilt_checks import first_impossible, unspanned
from calibration.drafting.tilt_rows import TiltSetup
from calibration.drafting.wander import unsteady
from calibration.files.references import Kind, use_of
from calibration.files.series import TILT, TILT_KINDS, Series
from calibration.files.sheet import REFERENCE_DEGC, TURN_DEG
from calibration.fits.tilt_sphere import LEAST_SPAN
from calibration.records.papers import ReferenceUse
from calibration.records.parts import TiltPart
from ingest.commands.calibrate_advice import Advice, advised_of_tilt
from ingest.commands.calibrate_refusals import see_none_gross, see_none_impossible
from ingest.commands.calibrate_work import (
    Answer,
    Work,
    add_draft_arguments,
    as_json,
    coefficients,
    judged,
    lines_of,
    read_series,
    see_no_doubles,
    write_draft,
)
from ingest.commands.drift_words import drift_line, undrifted
from ingest.core.errors import InputError, MeasurementRefused

ALIGNMENT_DEG = 0.1
"""How squarely a head stands on the sine bar, k = 2 (as for a verification)."""
REMEDIES = {
    "turn z": "raise the head on the sine bar along both axes (steps)",
    "turn": "turn the head half round on its place on a plate (reversal)",
    "bias z": "tumble the head through all six faces (sphere)",
    "m zz": "tumble the head through all six faces (sphere)",
    "m xz": "tumble the head, also on its edges (sphere of 9 attitudes)",
    "m yz": "tumble the head, also on its edges (sphere of 9 attitudes)",
    "bias per": "hold it level at two temperatures (oven)",
    "bias x per": "hold it level at two temperatures (oven)",
    "bias y per": "hold it level at two temperatures (oven)",
    "bias z per": "hold it level at two temperatures, all three axes read (oven)",
    "scale": "hold it tilted along that axis at two temperatures (oven)",
    "bias": "turn the head half round on its place on a plate (reversal)",
    "matrix": "raise it on the sine bar along both axes (steps), or tumble it (sphere)",
    "slope": "turn the head half round on its place on a plate (reversal)",
    "zero": "turn the head half round on its place on a plate (reversal)",
    "m ": "raise the head on the sine bar along both axes (steps), or tumble it (sphere)",
}
"""How to settle what is open, by the start of its name; the first that fits."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("files", nargs="+", metavar="FILE.csv", help="what they are, columns tell")
    parser.add_argument("--method", choices=TILT_KINDS, help="refuse files of any other kind")
    add_draft_arguments(parser)
    parser.add_argument("--sine-bar-mm", type=float, help="where no register says it")


def find(args: argparse.Namespace, work: Work) -> Answer:
    """Fit, write and say."""
    draft = work.draft(args.head, args.onto, args.previous)
    kinds = TILT_KINDS if args.method is None else (args.method,)
    read = [read_series(path, draft, kinds) for path in args.files]
    see_no_doubles(raw for _, raw in read)
    setup, used = _setup(args, work, any(series.kind == "steps" for series, _ in read))
    files = [series for series, _ in read]
    _see_readings_that_can_be(files, setup)
    found = find_tilt(files, setup)
    if found.part is not None:
        found = replace(found, part=unsteady(found.part, draft.stability if draft else ()))
    hidden = _hidden(files)
    what = "sign, axis or height"
    if hidden:
        what += " (an axis that reads straight up hides how much)"
    see_none_gross(found.fits, what, scatter=found.part is not None)
    if found.part is not None:
        _see_turned_about(files)
    answer = _answer(found, advised_of_tilt(files, setup.sine_bar_mm), hidden)
    if draft is None or found.part is None:
        return answer
    days = [day for series, _ in read for day in series.days]
    draft = filled(
        draft,
        coefficients={"tilt": found.part},
        fits=[summary(fit, "tilt", of, found.method) for of, fit in found.fits.items()],
        raw=[raw for _, raw in read],
        performed=days,
        uses=used,
    )
    where = write_draft(args.output, args.onto, draft)
    return Answer(f"{answer.text}\n{where}", answer.as_json | {"draft": where}, answer.code)


def _see_readings_that_can_be(files: Sequence[Series], setup: TiltSetup) -> None:
    """Refuse what no fit should be tried on, by file and row."""
    see_none_impossible(first_impossible(files, setup))
    flat = unspanned(files, setup)
    if flat:
        moved = " and ".join(f"{TILT[axis]}_deg over {span:.2g}" for axis, span in flat.items())
        faces = ", ".join(f"{side} axis up" for axis in flat for side in SIDES[axis])
        text = (
            f"{', '.join(f.where for f in files)}: the attitudes do not span the sphere: {moved} "
            f"of gravity, limit {LEAST_SPAN:g}; take next: {faces}"
        )
        raise MeasurementRefused("unspanned", text, figure=min(flat.values()), limit=LEAST_SPAN)


def _see_turned_about(files: Sequence[Series]) -> None:
    """Refuse a reversal that is none: without the other way round it tells no zero."""
    reversals = [file for file in files if file.kind == "reversal"]
    ways: dict[str, set[str]] = {}
    for row in (row for file in reversals for row in file.rows):
        ways.setdefault(row.text("axis"), set()).add(row.text("facing"))
    for axis, taken in ways.items():
        if len(taken) < 2:
            text = (
                f"{reversals[0].where}: axis {axis} was read {taken.pop()} only, which tells no "
                "zero; read it turned half round on its place as well, or leave the file out"
            )
            raise MeasurementRefused("not-turned", text, figure=1.0, limit=2.0)


def _setup(
    args: argparse.Namespace, work: Work, stepped: bool
) -> tuple[TiltSetup, list[ReferenceUse]]:
    bar = work.reference(Kind.SINE_BAR) if stepped else None
    blocks = work.reference(Kind.GAUGE_BLOCKS) if stepped else None
    length, u = args.sine_bar_mm, 0.0
    if length is not None and not (math.isfinite(length) and length > 0):
        raise InputError("--sine-bar-mm", None, f"{length} is not above 0")
    if bar is not None:
        length, u = float(bar.value), bar.u / float(bar.value)
    sheet = work.sheet
    alignment = (sheet.setup if sheet else {}).get("alignment_deg", ALIGNMENT_DEG)
    setup = TiltSetup(
        reference_degc=sheet.reference_degc if sheet else REFERENCE_DEGC,
        u_turn_rad=math.radians(sheet.turn_deg if sheet else TURN_DEG),
        u_alignment_rad=math.radians(alignment) / 2.0,
        sine_bar_mm=length,
        u_length=u,
    )
    return setup, [use_of(each) for each in (bar, blocks) if each is not None]


def _hidden(files: Sequence[Series]) -> dict[str, list[int]]:
    return {f.where: list(f.at_full_scale()) for f in files if f.at_full_scale()}


def _answer(found: TiltFound, advice: Advice | None, hidden: Mapping[str, Sequence[int]]) -> Answer:
    lines = [f"tilt from {found.method}:"]
    data: dict[str, Any] = {"what": "tilt", "method": found.method, "fits": {}}
    for of, fit in found.fits.items():
        told = coefficients(fit, [name for name in fit.names if _is_angle(name)])
        lines += [f"{of}:", *lines_of(told), *judged(fit)]
        data["fits"][of] = as_json(fit, told)
    lines += [f"  still open: {name}; {_remedy(name)}" for name in found.open]
    for where, rows in hidden.items():
        named = ", ".join(map(str, rows))
        lines.append(f"  {where}, rows {named}: an axis reads straight up, which hides how much;")
        lines.append("  take them again with the head leaning a few degrees off")
    if not found.open:
        lines.append("  still open: nothing")
    lines += advice.lines if advice is not None else []
    if found.part is not None:
        lines += _holds(found.part)
    if found.part is None:
        lines.append("no coefficients yet: give what is still open, with these files again")
    data["full_scale_rows"] = {where: list(rows) for where, rows in hidden.items()}
    data["open"] = {name: _remedy(name) for name in found.open}
    data |= {"next": ""} if advice is None else advice.as_json
    data["part"] = None if found.part is None else found.part.model_dump(mode="json")
    return Answer("\n".join(lines), data, 0 if found.part is not None else 3)


def _holds(part: TiltPart) -> Iterator[str]:
    """Say where the zeros hold, how well, and what leaving that temperature costs."""
    yield f"  the zeros hold at {part.reference_temperature_degc:g} °C (u, a standard uncertainty):"
    for i, (u, drift) in enumerate(zip(part.u_bias_deg, part.u_bias_deg_per_degc, strict=True)):
        wander = part.u_wander_deg[i] if part.u_wander_deg else 0.0
        yield (
            f"  incl_{'xyz'[i]}: u {u:.2g}°, of it {wander:.2g}° wander with time; "
            f"each degree off contributes {drift:.2g}°"
        )
    if undrifted(part):
        yield f"  {drift_line([part])}"


def _is_angle(name: str) -> bool:
    return name.startswith(("bias", "turn", "along", "across", "zero", "slope"))


def _remedy(name: str) -> str:
    return next(words for start, words in REMEDIES.items() if name.startswith(start))
