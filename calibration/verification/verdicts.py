"""Whether a head keeps the limits of its class (JCGM 106:2012), in the words of a certificate."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.decision import Rule, decide
from calibration.measured import Measured
from calibration.verification.errors_at_points import PointError
from calibration.verification.figures import Figure
from calibration.verification.head_class import HeadClass

WORST_FIRST = ("fail", "conditional-fail", "none", "conditional-pass", "pass")
SIMPLE_WORDS = {"inside": "pass", "outside": "fail"}

IMPACT = (
    "As found, {what} outside its limits. All that this head has measured since its last good "
    "check is in doubt; levelhead affected lists it."
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """One figure against its limit; ``high`` = -``low``. ``at`` is the point that decided.

    ``k`` is from the budget's own degrees of freedom; the guard band is k u.
    """

    channel: str
    name: str
    measured: Measured
    k: float
    high: float
    unit: str
    at: str
    rule: Rule
    decision: str
    p_conform: float | None

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u."""
        return self.k * self.measured.u


def verdicts_of(
    channel: str,
    points: Sequence[PointError],
    figures: Sequence[Figure],
    head_class: HeadClass,
    rule: Rule,
) -> tuple[Verdict, ...]:
    """Decide on every figure of a channel that its class limits, on unrounded numbers.

    The largest error is decided at each point, since each has its own uncertainty; the verdict
    is that of the point that does worst.
    """
    found = []
    for figure in figures:
        size = head_class.limits.get((channel, figure.name))
        if size is None or figure.k is None:
            continue
        tried = [figure]
        if figure.name == "max-error":
            tried = [_at_point(figure, p) for p in points]
        each = [_decided(channel, one, size, rule) for one in tried]
        found.append(min(each, key=_rank))
    return tuple(found)


def impact(verdicts: Sequence[Verdict]) -> str | None:
    """Return what a bad verdict as found means for past work; None where there is none."""
    bad = [f"{v.channel} {v.name}" for v in verdicts if v.decision in ("fail", "conditional-fail")]
    if not bad:
        return None
    return IMPACT.format(what=f"{', '.join(bad)} {'lies' if len(bad) == 1 else 'lie'}")


def _at_point(figure: Figure, point: PointError) -> Figure:
    budget = point.budget
    return replace(figure, measured=budget.measured, at=str(point.at), k=budget.k)


def _decided(channel: str, figure: Figure, size: float, rule: Rule) -> Verdict:
    measured, k = figure.measured, figure.k or 0.0
    used = Rule.SIMPLE if rule is Rule.SIMPLE else Rule.GUARD_U_4
    decision = decide(measured.value, measured.u, -size, size, used, k=k)
    word = SIMPLE_WORDS.get(decision.decision, decision.decision)
    return Verdict(
        channel=channel,
        name=figure.name,
        measured=measured,
        k=k,
        high=size,
        unit=figure.unit,
        at=figure.at,
        rule=rule,
        decision=word,
        p_conform=decision.p_conform,
    )


def _rank(verdict: Verdict) -> tuple[int, float, float]:
    """Order by the word, the chance, and the room left to the limit in standard uncertainties."""
    chance = math.inf if verdict.p_conform is None else verdict.p_conform
    room = verdict.high - abs(verdict.measured.value)
    return WORST_FIRST.index(verdict.decision), chance, room / (verdict.measured.u or 1.0)
