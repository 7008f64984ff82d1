"""The results: errors at every point as found and as left, drawn and listed, and conformity."""

import math
from collections.abc import Iterator, Sequence

from calibration.document.blocks import Block, Chart, Columns, Heading, Notice, Paragraph, Table
from calibration.document.certificate import wording
from calibration.document.certificate.face import worst
from calibration.document.certificate.figures import figures
from calibration.document.certificate.judged import Judged, by_key
from calibration.document.certificate.parts import columns, limits
from calibration.document.charts import error_chart
from calibration.document.plain import count, day, expanded, factor, in_unit, number, quantity
from calibration.document.plot import FULL_WIDTH, HALF_WIDTH, Curve, Level, Marks
from calibration.records.parts import EncoderPart
from calibration.records.record import CalibrationRecord
from calibration.records.results import Point, Run, Verdict

FOUND, LEFT = "as found", "as left"
TURN_DEG = [3.0 * i for i in range(121)]

Runs = Sequence[tuple[str, Run]]


def results(record: CalibrationRecord, signed: Judged) -> Iterator[Block]:
    """Yield the results of calibration and, where limits were held against them, conformity."""
    runs = _runs(record)
    yield Heading("Results of calibration")
    yield Paragraph(wording.CALIBRATION, "small")
    yield Paragraph(_as_found_as_left(record))
    step = record.adjustment
    if step is not None and signed.adjustment is not None:
        at = step.at.replace("T", " ").removesuffix("Z")
        key = by_key(signed.adjustment)
        yield Paragraph(wording.ADJUSTED_BY.format(at=at, by=step.by, key=key), "small")
    if worst(record.as_found) in ("conditional-fail", "fail"):
        yield Notice("As found, not within its limits", wording.IMPACT, "attention")
    yield from figures(record.run_in_force)
    for channel in dict.fromkeys(point.channel for _, run in runs for point in run.points):
        yield Heading(wording.channel_name(channel), 2)
        yield from _charts(record, runs, channel)
        for state, run in runs:
            yield from _points(record, state, run, channel)
    yield from _conformity(record, runs)


def _runs(record: CalibrationRecord) -> Runs:
    both = ((FOUND, record.as_found), (LEFT, record.as_left))
    return [(state, run) for state, run in both if run is not None]


def _as_found_as_left(record: CalibrationRecord) -> str:
    if record.run_in_force is None:
        return wording.NOT_MEASURED
    if not record.adjusted:
        return wording.NOT_ADJUSTED
    return wording.FOUND_MISSING if record.as_found is None else wording.ADJUSTED


def _points(record: CalibrationRecord, state: str, run: Run, channel: str) -> Iterator[Block]:
    points = [point for point in run.points if point.channel == channel]
    if not points:
        return
    unit = points[0].unit
    numbers = [in_unit(what, unit) for what in ("Nominal", "Reference", "Indication", "Error", "U")]
    nominal, *measured = numbers
    titles = (nominal, "Direction", "Readings", *measured, "k")
    caption = f"{state.capitalize()}, {day(run.performed)}"
    shares = dict.fromkeys(titles, 1)
    rows = tuple(map(_point, points))
    ranged = {*numbers, "Readings", "k"}
    note = " ".join(_notes(record, run, points[0]))
    yield Table(caption, columns(titles, shares, ranged), rows, note=note)


def _notes(record: CalibrationRecord, run: Run, first: Point) -> Iterator[str]:
    """Yield what has to be known of the reference of a channel to read its table."""
    if first.moved is not None:
        told = wording.MOVED.format(by=quantity(first.moved, first.unit))
        yield told if record.version > 2 else told + wording.MOVED_2
    if any(figure.together for figure in run.figures if figure.channel == first.channel):
        yield wording.TOGETHER


def _point(point: Point) -> tuple[str, ...]:
    return (
        number(point.nominal),
        point.direction,
        str(point.repeats),
        number(point.reference),
        number(point.indication),
        number(point.error),
        number(point.U),
        factor(point.k),
    )


def _charts(record: CalibrationRecord, runs: Runs, channel: str) -> Iterator[Block]:
    series = [marks for state, run in runs if (marks := _marks(state, run, channel)).x]
    encoder = next((part for name, part in record.encoders.items() if name == channel), None)
    if encoder is None or not encoder.harmonics:
        yield _errors(record, runs, channel, series, FULL_WIDTH)
        return
    after = [marks for marks in series if not marks.hollow] or series
    yield Columns(
        (
            (_errors(record, runs, channel, series, HALF_WIDTH),),
            (_harmonics(encoder, after, channel),),
        )
    )


def _errors(
    record: CalibrationRecord, runs: Runs, channel: str, series: Sequence[Marks], width: float
) -> Chart:
    unit = next(p.unit for _, run in runs for p in run.points if p.channel == channel)
    described = f"Errors of {channel}: " + "; ".join(map(_described, series))
    svg = error_chart(
        series,
        _levels(runs, channel),
        in_unit("Reference", unit),
        in_unit("Error", unit),
        described,
        turn=channel in wording.CIRCULAR,
        width=width,
    )
    return Chart(svg, "Error and its expanded uncertainty over the angle", described)


def _harmonics(encoder: EncoderPart, after: Sequence[Marks], channel: str) -> Chart:
    """Return what the encoder's harmonics were worth, beside what is left of them."""
    before = Curve("not corrected", TURN_DEG, [_error_deg(encoder, a) for a in TURN_DEG], True)
    reach = max(abs(y) for y in before.y)
    described = f"Error of {channel} over a turn: up to {reach:.3f}° before correction"
    titles = in_unit("Indication", "deg"), in_unit("Error", "deg")
    svg = error_chart(after, (), *titles, described, curve=before, turn=True, width=HALF_WIDTH)
    return Chart(svg, "Error over a turn, before and after correction", described)


def _error_deg(encoder: EncoderPart, raw_deg: float) -> float:
    raw = math.radians(raw_deg)
    return sum(
        h.cos_deg * math.cos(h.order * raw) + h.sin_deg * math.sin(h.order * raw)
        for h in encoder.harmonics
    )


def _marks(state: str, run: Run, channel: str) -> Marks:
    points = [point for point in run.points if point.channel == channel]
    return Marks(
        state,
        [float(p.reference) for p in points],
        [float(p.error) for p in points],
        [float(p.U) for p in points],
        hollow=state == FOUND,
    )


def _described(marks: Marks) -> str:
    low, high = min(marks.y), max(marks.y)
    return f"{marks.name} from {low:g} to {high:g} at {count(len(marks.y), 'point')}"


def _levels(runs: Runs, channel: str) -> list[Level]:
    """Return the limits of the largest error, where that is a limit of the error itself."""
    verdicts = [v for _, run in runs for v in run.verdicts]
    mine = [v for v in verdicts if v.channel == channel and v.name == "max-error"]
    highs = {float(v.high) for v in mine if v.high is not None}
    lows = {float(v.low) for v in mine if v.low is not None} or {-high for high in highs}
    return [Level("limit", y) for y in sorted(lows | highs)]


def _conformity(record: CalibrationRecord, runs: Runs) -> Iterator[Block]:
    rows = tuple(_verdict(state, v) for state, run in runs for v in run.verdicts)
    if not rows:
        return
    yield Heading("Verification")
    if record.decision_rule is not None:
        yield Paragraph(wording.RULES[record.decision_rule])
    yield Paragraph(wording.DECIDED_BEFORE_ROUNDING, "small")
    if any(v.name == "max-error" for _, run in runs for v in run.verdicts):
        yield Paragraph(wording.DECIDED_AT_POINTS, "small")
    titles = ("Run", "Channel", "Figure", "Result", "k", "Limits", "P", "Decision")
    caption = f"Figures against the limits of {record.head_class}, laid down before measuring"
    yield Table(caption, columns(titles, {"Channel": 1}, {"k", "P"}), rows)


def _verdict(state: str, verdict: Verdict) -> tuple[str, ...]:
    return (
        state,
        verdict.channel,
        wording.AT_ITS_POINT if verdict.name == "max-error" else wording.FIGURES[verdict.name],
        expanded(verdict.value, verdict.U, verdict.unit),
        "–" if verdict.k is None else factor(verdict.k),
        limits(verdict),
        "–" if verdict.p_conform is None else verdict.p_conform,
        wording.DECISIONS[verdict.decision],
    )
