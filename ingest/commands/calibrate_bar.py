"""``levelhead calibrate bar``: the zeros of two heads on the ends of the reference bar."""

import argparse
import math
from collections.abc import Iterable
from datetime import date
from typing import Any

from calibration.bench.bar_pair import BarPair
from calibration.drafting.bar import HEADS, BarFound, find_bar
from calibration.drafting.draft import filled, summary
from calibration.errors import BadBenchData
from calibration.files.references import Kind, use_of
from calibration.files.series import Series
from calibration.records.papers import RawFile, ReferenceUse
from calibration.records.parts import Coefficients
from calibration.records.record import CalibrationRecord
from calibration.verification.seat_budget import without
from ingest.commands.calibrate_advice import Advice, advised
from ingest.commands.calibrate_refusals import see_none_gross
from ingest.commands.calibrate_work import (
    Answer,
    Work,
    as_json,
    coefficients,
    draft_place,
    judged,
    lines_of,
    read_series,
    write_draft,
)

MOVES = {
    "turned": "turned end for end",
    "rolled": "rolled over",
    "exchanged": "read with the heads exchanged",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE.csv", help="both heads in every attitude of the bar")
    parser.add_argument("--onto", metavar="A.json", help="the draft of head A")
    parser.add_argument("--onto-b", metavar="B.json", help="the draft of head B")
    parser.add_argument("-o", "--output", metavar="A.json", help="where to write head A's draft")
    parser.add_argument("--output-b", metavar="B.json", help="where to write head B's draft")
    parser.add_argument(
        "--length-mm", type=float, help="the bar's length, where no register says it"
    )
    parser.add_argument(
        "--azimuth",
        choices=("azimuth_cross", "azimuth_track"),
        default="azimuth_cross",
        help="the channel that looks along the bar (default azimuth_cross)",
    )


def find(args: argparse.Namespace, work: Work) -> Answer:
    """Fit, write and say."""
    drafts = {"A": work.draft("A", args.onto), "B": work.draft("B", args.onto_b)}
    bar = work.reference(Kind.BAR)
    length_m = float(bar.value) / 1e3 if bar is not None else (args.length_mm or math.nan) / 1e3
    if not (math.isfinite(length_m) and length_m > 0):
        remedy = "name it in the sheet's references, or give --length-mm"
        raise BadBenchData("bar", "its length is not known", remedy)
    known = {letter: draft for letter, draft in drafts.items() if draft is not None}
    before = {x: known[x].coefficients if x in known else Coefficients() for x in HEADS}
    series, raw = read_series(args.file, None, ("bar",))
    found = find_bar(series, before, length_m, args.azimuth)
    fits = {"incl_y": found.fit.incl_y, "incl_x": found.fit.incl_x, "azimuth": found.fit.azimuth}
    again = "mark both rows of its attitude withdrawn and read both heads again"
    see_none_gross(fits, "attitude or head", again=again, scatter=True)
    answer = _answer(found, advised(BarPair(length_m, args.azimuth), series), _unmoved(series))
    if answer.code or not known:
        return answer
    if len(known) < len(HEADS):
        remedy = "give --onto and --onto-b, or a --sheet with heads A and B"
        raise BadBenchData("bar", "one head has a draft and the other none", remedy)
    uses = [] if bar is None else [use_of(bar)]
    # Both drafts stand, and have their places, before either is written.
    mended = {x: _mended(known[x], found, x, args.azimuth, raw, series.days, uses) for x in HEADS}
    outputs = {"A": (args.output, args.onto), "B": (args.output_b, args.onto_b)}
    for letter, draft in mended.items():
        draft_place(*outputs[letter], draft)
    where = [write_draft(*outputs[letter], draft) for letter, draft in mended.items()]
    return Answer("\n".join([answer.text, *where]), answer.as_json | {"drafts": where})


def _mended(
    draft: CalibrationRecord,
    found: BarFound,
    letter: str,
    azimuth: str,
    raw: RawFile,
    days: Iterable[date],
    uses: Iterable[ReferenceUse],
) -> CalibrationRecord:
    after = found.after[letter]
    fits = {"incl_y": found.fit.incl_y, "incl_x": found.fit.incl_x, "azimuth": found.fit.azimuth}
    return filled(
        draft,
        coefficients={name: getattr(after, name) for name in ("tilt", "encoders", "ports")},
        fits=[summary(fit, "bar", channel, f"head {letter}") for channel, fit in fits.items()],
        raw=[raw],
        performed=days,
        uses=uses,
        # The bar tells the zero better than how the head sat on the spindle.
        budgets=without(draft.budgets, azimuth),
    )


def _unmoved(series: Series) -> str:
    """Say which of the bar's moves no row has; what to do about zeros that are still open."""
    missing = [
        words for flag, words in MOVES.items() if len({row.text(flag) for row in series.rows}) < 2
    ]
    if not missing:
        return "read both heads in further attitudes of the bar"
    return f"{series.where}: the bar was never {', never '.join(missing)}; read both heads so, too"


def _answer(found: BarFound, advice: Advice, unmoved: str) -> Answer:
    lines: list[str] = []
    data: dict[str, Any] = {"what": "bar", "open": list(found.open)}
    fits = {"incl_y": found.fit.incl_y, "incl_x": found.fit.incl_x, "azimuth": found.fit.azimuth}
    for channel, fit in fits.items():
        told = coefficients(fit, [n for n in fit.names if not n.startswith("port")])
        lines += [f"{channel} on the bar:", *lines_of(told), *judged(fit)]
        data[channel] = as_json(fit, told)
    lines += advice.lines
    data |= advice.as_json
    code = 0
    if any("zero" in name for name in found.open):
        code = 3
        lines.append(f"still open: {', '.join(found.open)}")
        lines.append(unmoved)
    else:
        lines.append(f"still open: {', '.join(found.open) or 'nothing'}")
    return Answer("\n".join(lines), data, code)
