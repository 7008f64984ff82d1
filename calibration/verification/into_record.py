"""A verification as a record states it: decimal text, rounded as it is printed (GUM 7.2.6)."""

from collections.abc import Sequence
from datetime import date

from calibration.decision import Rule
from calibration.files.points import TILT
from calibration.files.references import use_of
from calibration.records.grown import grown
from calibration.records.papers import RawFile
from calibration.records.record import CalibrationRecord
from calibration.records.results import Figure as FigurePart
from calibration.records.results import Point, Run
from calibration.records.results import Verdict as VerdictPart
from calibration.reporting import report_expanded, report_unknown
from calibration.rounding import Place
from calibration.units import Unit
from calibration.verification.adjustment import Taken, moment_text
from calibration.verification.errors_at_points import PointError
from calibration.verification.figures import Figure
from calibration.verification.record_budgets import (
    AS,
    FINEST,
    Tried,
    budget_of,
    factor_text,
    plain,
)
from calibration.verification.run import ChannelResult, Verification
from calibration.verification.verdicts import Verdict

PRINTED = ("max-error", "zero", "repeatability", "hysteresis", "linearity", "cross-axis")
"""Figures that a record has a name for."""
PLACED = ("max-error", "hysteresis", "linearity")
"""Figures that are found at one place of several."""


def run_of(verification: Verification, performed: date, taken: Taken = None) -> Run:
    """Return the run as a record holds it; ``taken``: of all its files."""
    channels = verification.channels
    first, last = (None, None) if taken is None else map(moment_text, taken)
    return Run(
        taken_from=first,
        taken_to=last,
        performed=performed,
        points=tuple(_point(c, p) for c in channels for p in c.points),
        figures=tuple(_figure(c, f) for c in channels for f in c.figures if f.name in PRINTED),
        verdicts=tuple(_verdict(v) for v in verification.verdicts),
    )


def recorded(
    record: CalibrationRecord,
    verification: Verification,
    budgets: Sequence[Tried],
    *,
    when: str,
    performed: date,
    raw: Sequence[RawFile],
    rule: Rule,
    head_class: str,
    taken: Taken = None,
) -> CalibrationRecord:
    """Return the draft with this run in it; a run of the same kind is replaced.

    Raises:
        CalibrationFileError: the record that comes of it would contradict itself.
    """
    run = run_of(verification, performed, taken)
    if when == "left" and record.adjustment is not None:
        run = run.model_copy(update={"after": record.adjustment.sha256})
    kept = [b for b in record.budgets if not b.at.startswith(AS[when])]
    return grown(
        record,
        raw=raw,
        uses=map(use_of, verification.references),
        performed=[performed],
        budgets=(*kept, *(budget_of(b, when) for b in budgets)),
        decision_rule=rule,
        head_class=head_class,
        **{f"as_{when}": run},
    )


def _point(channel: ChannelResult, point: PointError) -> Point:
    b = point.budget
    shown = report_expanded(b.value, b.expanded, Unit.DEGREE, k=b.k, resolution=channel.step_deg)
    place = Place(-shown.dp)
    return Point(
        channel=channel.channel,
        nominal=f"{point.at.nominal_deg:f}",
        direction="up" if point.at.direction == "up" else "down",
        repeats=point.repeats,
        reference=place.text(place.nearest(point.reference_deg)),
        indication=place.text(place.nearest(point.indication_deg)),
        error=_decimal(shown.value, shown.dp),
        U=_decimal(shown.U or 0.0, shown.dp),
        k=factor_text(b.k),
        unit=Unit.DEGREE.value,
        moved=None if point.moved_deg is None else place.text(place.nearest(point.moved_deg)),
    )


def _figure(channel: ChannelResult, figure: Figure) -> FigurePart:
    unit = Unit(figure.unit)
    stated: dict[str, str | bool] = {"channel": channel.channel, "name": figure.name}
    stated["unit"] = unit.value
    if figure.name in PLACED or channel.channel not in TILT:
        at = ", ".join(part for part in (figure.at, figure.under) if part)
        stated |= {"at": at, "together": figure.together}
    if figure.k is None or figure.expanded is None:
        shown = report_unknown(figure.value, unit, resolution=channel.step_deg)
        return FigurePart.model_validate({**stated, "value": _decimal(shown.value, shown.dp)})
    shown = report_expanded(figure.value, figure.expanded, unit, k=figure.k)
    value, expanded = _decimal(shown.value, shown.dp), _decimal(shown.U or 0.0, shown.dp)
    return FigurePart.model_validate(
        {**stated, "value": value, "U": expanded, "k": factor_text(figure.k)}
    )


def _verdict(verdict: Verdict) -> VerdictPart:
    shown = report_expanded(
        verdict.measured.value,
        verdict.expanded,
        Unit(verdict.unit),
        k=verdict.k,
        low=-verdict.high,
        high=verdict.high,
    )
    limit = plain(verdict.high, FINEST)
    return VerdictPart.model_validate(
        {
            "channel": verdict.channel,
            "name": verdict.name,
            "low": f"-{limit}",
            "high": limit,
            "value": _decimal(shown.value, shown.dp),
            "U": _decimal(shown.U or 0.0, shown.dp),
            "k": factor_text(verdict.k),
            "unit": verdict.unit,
            "rule": verdict.rule,
            "decision": verdict.decision,
            "p_conform": None if verdict.p_conform is None else f"{verdict.p_conform:.4f}",
        }
    )


def _decimal(value: float, dp: int) -> str:
    return f"{value:.{dp}f}"
