"""Budgets as a record states them: working figures as decimal text, trials beside them."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from calibration.records.results import Budget as BudgetPart
from calibration.records.results import BudgetLine
from calibration.records.results import MonteCarlo as MonteCarloPart
from calibration.rounding import Place
from calibration.units import Unit
from calibration.verification.budget import Budget, Line
from calibration.verification.errors_at_points import PointError
from calibration.verification.montecarlo import MonteCarlo, propagate_distributions
from calibration.verification.run import ChannelResult, Verification

DIGITS = 4
"""Significant digits of a budget's working figures; they are not results."""
FINEST = 15
ALIKE = 1.001
"""Uncertainties this near to each other print the same budget twice."""
MANY = 1e6
"""Degrees of freedom beyond which a t factor is a normal one, to more digits than are printed."""
AS = {"found": "as found", "left": "as left"}


@dataclass(frozen=True, slots=True)
class Tried:
    """One budget of a channel and where it holds, with the Monte Carlo beside it; None where
    draws cannot tell."""

    channel: str
    at: str
    budget: Budget
    trials: MonteCarlo | None


def tried(verification: Verification, seed: int) -> tuple[Tried, ...]:
    """Return each channel's budgets that a record keeps, tried by propagating distributions.

    They are those of the point that its largest error was decided at and of the point that is
    known least well; the other points are known better.
    """
    return tuple(
        Tried(c.channel, at, budget, propagate_distributions(budget, seed=seed))
        for c in verification.channels
        for at, budget in _kept(c)
    )


def _kept(channel: ChannelResult) -> Iterator[tuple[str, Budget]]:
    if channel.points:
        for point in decisive(channel):
            yield str(point.at), point.budget
    yield from channel.budgets


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
    return part_of(one.channel, f"{AS[when]}, {one.at}", one.budget, one.trials)


def part_of(channel: str, at: str, budget: Budget, trials: MonteCarlo | None) -> BudgetPart:
    """Return a budget as a record holds it; ``at`` says of what it is."""
    return BudgetPart(
        channel=channel,
        at=at,
        unit=Unit.DEGREE.value,
        lines=tuple(_line(line) for line in budget.lines),
        u=plain(budget.u),
        dof=_freedom(budget.dof),
        k=factor_text(budget.k),
        U=plain(budget.expanded),
        monte_carlo=None if trials is None else _trials(trials),
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
        dof=_freedom(one.dof),
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


def _freedom(dof: float) -> str | None:
    return None if dof > MANY else plain(dof)


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


def factor_text(k: float) -> str:
    """Return a coverage factor as it is printed."""
    return f"{k:.2f}"
