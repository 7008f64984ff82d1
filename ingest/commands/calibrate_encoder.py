"""``levelhead calibrate encoder``: harmonics, zero and backlash of encoder channels."""

import argparse
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calibration.bench.dividing_rounds import DividingRounds
from calibration.bench.full_turn import FullTurn
from calibration.bench.procedure import Procedure
from calibration.drafting.draft import filled, summary
from calibration.drafting.encoder import EncoderFound, find_encoder, first_impossible
from calibration.encoders import DIFFERENCES
from calibration.files.references import Kind, use_of
from calibration.files.series import ENCODER_KINDS, Series
from calibration.fits.result import Fit
from calibration.records.parts import CircularChannel, EncoderPart
from calibration.records.record import CalibrationRecord
from calibration.verification.seat_budget import seat_budget, without
from ingest.commands.calibrate_advice import Advice, advised
from ingest.commands.calibrate_refusals import AGAIN, see_none_gross, see_none_impossible
from ingest.commands.calibrate_work import (
    Answer,
    Work,
    add_draft_arguments,
    as_json,
    coefficients,
    judged,
    lines_of,
    read_series,
    write_draft,
)

ZERO = "read it on the bar, or state in the sheet how the head sits on the spindle (seat)"
NEEDLESS = "only its differences are used"
ROUND = "go round the plate once more, the encoder started elsewhere; or read a turn"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE.csv", help="a turn, or rounds of a dividing plate")
    parser.add_argument("--method", choices=ENCODER_KINDS, help="refuse a file of the other kind")
    add_draft_arguments(parser)


def find(args: argparse.Namespace, work: Work) -> Answer:
    """Fit, write and say."""
    draft = work.draft(args.head, args.onto, args.previous)
    series, raw = read_series(
        args.file, draft, ENCODER_KINDS if args.method is None else (args.method,)
    )
    see_none_impossible(first_impossible(series))
    reference = (
        work.reference(Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE)
        if series.kind == "turn"
        else None
    )
    seats = {} if work.sheet is None else work.sheet.seat
    found = find_encoder(series, 0.0 if reference is None else math.radians(reference.u), seats)
    fits: dict[str, Fit] = {each.channel: each.fit for each in found}
    again = AGAIN if series.kind == "turn" else "go through all rounds again"
    see_none_gross(fits, "position", again=again)
    answer = _answer(found, _next(series, found))
    parts = {each.channel: each.part for each in found if each.part is not None}
    if draft is None or not parts:
        return answer
    kept = {name: _with_zero(part, _told_here(draft, name)) for name, part in parts.items()}
    budgets = draft.budgets
    for each in found:
        if each.zero is not None:
            budget = seat_budget(each.channel, each.zero)
            budgets = (*without(budgets, each.channel), budget)
    draft = filled(
        draft,
        coefficients={"encoders": {**draft.encoders, **kept}},
        fits=[summary(each.fit, "encoder", each.channel, each.method) for each in found],
        raw=[raw],
        performed=series.days,
        uses=[] if reference is None else [use_of(reference)],
        budgets=budgets,
    )
    where = write_draft(args.output, args.onto, draft)
    return Answer(f"{answer.text}\n{where}", answer.as_json | {"draft": where}, answer.code)


def _told_here(draft: CalibrationRecord, channel: CircularChannel) -> EncoderPart | None:
    """Return what this work has found of a channel; what was in force before it tells no zero."""
    before = draft.coefficients_before
    own = draft.encoders.get(channel)
    return None if before is not None and before.encoders.get(channel) == own else own


def _with_zero(part: EncoderPart, before: EncoderPart | None) -> EncoderPart:
    """Keep a zero that was known where the new readings tell none, or tell it less well."""
    if before is None or part.u_zero_deg <= before.u_zero_deg:
        return part
    return part.model_copy(update={"zero_deg": before.zero_deg, "u_zero_deg": before.u_zero_deg})


def _next(series: Series, found: tuple[EncoderFound, ...]) -> dict[str, Advice]:
    """Say per channel what to take next."""
    advice: dict[str, Advice] = {}
    for each in found:
        own = tuple(row for row in series.rows if row.text("channel") == each.channel)
        procedure: Procedure = FullTurn(each.channel)
        if series.kind == "closure":
            positions = max(row.count("position") for row in own)
            procedure = DividingRounds(each.channel, positions)
        advice[each.channel] = advised(procedure, replace(series, rows=own))
    return advice


def _answer(found: tuple[EncoderFound, ...], advice: Mapping[str, Advice]) -> Answer:
    lines: list[str] = []
    data: list[dict[str, Any]] = []
    for each in found:
        told = coefficients(each.fit, each.fit.names)
        lines += [f"{each.channel} from {each.method}:", *lines_of(told), *judged(each.fit)]
        gap = None
        if each.backlash is not None and "backlash" not in each.backlash.undetermined:
            gap = math.degrees(each.backlash.value("backlash"))
            u = math.degrees(each.backlash.u("backlash"))
            lines.append(f"  backlash (falling less rising) {gap:+.4f}° ± {2 * u:.2g}°")
        most = None if each.hysteresis_rad is None else math.degrees(each.hysteresis_rad)
        if most is not None:
            lines.append(f"  largest gap between the ways, noise included: {most:.4f}°")
        opened = [f"  still open: {name}; {_remedy(each, name)}" for name in each.open]
        lines += [*(opened or ["  still open: nothing"]), *advice[each.channel].lines]
        data.append(
            {"channel": each.channel, "method": each.method}
            | {"backlash_deg": gap, "hysteresis_deg": most}
            | {"open": {name: _remedy(each, name) for name in each.open}}
            | advice[each.channel].as_json
            | as_json(each.fit, told)
            | {"part": None if each.part is None else each.part.model_dump(mode="json")}
        )
    code = 0 if all(each.part is not None for each in found) else 3
    return Answer("\n".join(lines), {"what": "encoder", "channels": data}, code)


def _remedy(each: EncoderFound, name: str) -> str:
    if name != "zero":
        return ROUND
    return NEEDLESS if each.channel in DIFFERENCES else ZERO
