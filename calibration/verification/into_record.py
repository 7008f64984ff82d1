"""A verification as a record states it: decimal text, rounded as it is printed (GUM 7.2.6)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from pydantic import ValidationError

from calibration.decision import Rule
from calibration.errors import CalibrationFileError
from calibration.files.references import use_of
from calibration.records.papers import RawFile
from calibration.records.record import CalibrationRecord
from calibration.records.results import Budget as BudgetPart
from calibration.records.results import BudgetLine, Point, Run
from calibration.records.results import Figure as FigurePart
from calibration.records.results import MonteCarlo as MonteCarloPart
from calibration.records.results import Verdict as VerdictPart
from calibration.records.text import first_fault
from calibration.reporting import coverage_factor, report_expanded, report_unknown
from calibration.rounding import Place
from calibration.units import Unit
from calibration.verification.budget import Line
from calibration.verification.errors_at_points import PointError
from calibration.verification.figures import Figure
from calibration.verification.montecarlo import MonteCarlo, propagate_distributions
from calibration.verification.run import ChannelResult, Verification
from calibration.verification.verdicts import Verdict

DIGITS = 4
"""Significant digits of a budget's working figures; they are not results."""
FINEST = 15
ALIKE = 1.001
"""Uncertainties this near to each other print the same budget twice."""
PRINTED = ("max-error", "zero", "repeatability", "hysteresis", "linearity", "cross-axis")
"""Figures that a record has a name for."""
AS = {"found": "as found", "left": "as left"}


def run_of(verification: Verification, performed: date) -> Run:
    """Return the run as a record holds it."""
    channels = verification.channels
    return Run(
        performed=performed,
        points=tuple(_point(c, p) for c in channels for p in c.points),
        figures=tuple(_figure(c, f) for c in channels for f in c.figures if f.name in PRINTED),
        verdicts=tuple(_verdict(v) for v in verification.verdicts),
    )


@dataclass(frozen=True, slots=True)
class Tried:
    """One point's budget with the Monte Carlo beside it; None where draws cannot tell."""

    channel: str
    point: PointError
    trials: MonteCarlo | None


def tried(verification: Verification, seed: int) -> tuple[Tried, ...]:
    """Return each channel's budgets that a record keeps, tried by propagating distributions.

    They are those of the point that its largest error was decided at and of the point that is
    known least well; the other points are known better.
    """
    return tuple(
        Tried(c.channel, point, propagate_distributions(point.budget, seed=seed))
        for c in verification.channels
        for point in decisive(c)
    )


def decisive(channel: ChannelResult) -> tuple[PointError, ...]:
    """Return the points whose budgets tell most: one, or two where they differ."""
    at = next((v.at for v in channel.verdicts if v.name == "max-error"), None)
    at = at or next(f.at for f in channel.figures if f.name == "max-error")
    named = next(p for p in channel.points if str(p.at) == at)
    widest = max(channel.points, key=lambda p: p.budget.expanded)
    alike = widest.budget.expanded <= ALIKE * named.budget.expanded
    return (named,) if alike else (named, widest)


def budget_of(one: Tried, when: str) -> BudgetPart:
    """Return a budget as a record holds it; ``when`` is ``found`` or ``left``."""
    budget = one.point.budget
    return BudgetPart(
        channel=one.channel,
        at=f"{AS[when]}, {one.point.at}",
        unit=Unit.DEGREE.value,
        lines=tuple(_line(line) for line in budget.lines),
        u=plain(budget.u),
        dof=None if math.isinf(budget.dof) else plain(budget.dof),
        k=_k(budget.k),
        U=plain(budget.expanded),
        monte_carlo=None if one.trials is None else _trials(one.trials),
    )


def recorded(
    record: CalibrationRecord,
    verification: Verification,
    budgets: Sequence[Tried],
    *,
    when: str,
    performed: date,
    raw: RawFile,
    rule: Rule,
    head_class: str,
) -> CalibrationRecord:
    """Return the draft with this run in it; a run of the same kind is replaced.

    Raises:
        CalibrationFileError: the record that comes of it would contradict itself.
    """
    uses = {use.id: use for use in (*record.references, *map(use_of, verification.references))}
    kept = [b for b in record.budgets if not b.at.startswith(AS[when])]
    content = {name: getattr(record, name) for name in type(record).model_fields}
    content |= {
        f"as_{when}": run_of(verification, performed),
        "budgets": (*kept, *(budget_of(b, when) for b in budgets)),
        "references": tuple(uses.values()),
        "raw": (*(r for r in record.raw if r.what != raw.what), raw),
        "decision_rule": rule,
        "head_class": head_class,
        "performed_from": min(record.performed_from, performed),
        "performed_to": max(record.performed_to, performed),
        "issued": max(record.issued, performed),
        "sha256": "",
        "signatures": (),
    }
    try:
        return CalibrationRecord.model_validate(content)
    except ValidationError as error:
        raise CalibrationFileError(record.record_id, first_fault(error)) from error


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
        k=_k(b.k),
        unit=Unit.DEGREE.value,
    )


def _figure(channel: ChannelResult, figure: Figure) -> FigurePart:
    unit = Unit(figure.unit)
    stated = {"channel": channel.channel, "name": figure.name, "unit": unit.value}
    if not figure.known:
        shown = report_unknown(figure.value, unit, resolution=channel.step_deg)
        return FigurePart.model_validate({**stated, "value": _decimal(shown.value, shown.dp)})
    k = coverage_factor(figure.measured.dof)
    shown = report_expanded(figure.value, k * figure.measured.u, unit, k=k)
    value, expanded = _decimal(shown.value, shown.dp), _decimal(shown.U or 0.0, shown.dp)
    return FigurePart.model_validate({**stated, "value": value, "U": expanded, "k": _k(k)})


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
            "k": _k(verdict.k),
            "unit": verdict.unit,
            "rule": verdict.rule,
            "decision": verdict.decision,
            "p_conform": None if verdict.p_conform is None else f"{verdict.p_conform:.4f}",
        }
    )


def _line(line: Line) -> BudgetLine:
    one = line.input
    return BudgetLine(
        source=one.source,
        estimate=_estimate(one.estimate, one.u),
        u=plain(one.u),
        distribution=one.distribution.value,
        divisor=plain(one.divisor),
        sensitivity=plain(line.sensitivity),
        contribution=plain(line.contribution),
        dof=None if math.isinf(one.dof) else plain(one.dof),
    )


def _trials(trials: MonteCarlo) -> MonteCarloPart:
    place = _finer(trials.u)
    return MonteCarloPart(
        trials=trials.trials,
        seed=trials.seed,
        u=plain(trials.u),
        low=place.text(place.nearest(trials.low)),
        high=place.text(place.nearest(trials.high)),
        probability=plain(trials.probability),
    )


def _estimate(value: float, u: float) -> str:
    if u == 0.0:
        return plain(value)
    place = _finer(u)
    return place.text(place.nearest(value))


def _finer(u: float) -> Place:
    """Return the place of the third digit of u: one more than a result would show."""
    first = math.floor(math.log10(u)) if u > 0 else -FINEST
    return Place(max(-FINEST, first - 2))


def plain(number: float, digits: int = DIGITS) -> str:
    """Return a number to so many significant digits, without exponent or signed zero."""
    rounded = Decimal(f"{number:.{digits}g}")
    cut = rounded.quantize(Decimal(1).scaleb(-FINEST)) if rounded.as_tuple().exponent else rounded
    text = f"{cut:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def _decimal(value: float, dp: int) -> str:
    return f"{value:.{dp}f}"


def _k(k: float) -> str:
    return f"{k:.2f}"
