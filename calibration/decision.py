"""Whether a value lies within its limits, given how well it is known (JCGM 106:2012).

The decision is made on unrounded numbers, before anything is printed.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from scipy import special


class Rule(StrEnum):
    """How far inside its limits a value must lie to be called inside."""

    SIMPLE = "simple"
    """At the limit: wrongly accepted with a chance of up to one half."""
    GUARD_U = "guard-u"
    """Expanded uncertainty U inside the limit; three words."""
    GUARD_U_4 = "guard-u-4"
    """The same guard band with the four words of a certificate."""


@dataclass(frozen=True, slots=True)
class Decision:
    """A decision and what it rests on.

    ``decision`` is ``inside``, ``undecided``, ``outside``; under guard-u-4 ``pass``,
    ``conditional-pass``, ``conditional-fail``, ``fail``; ``none`` where there is no uncertainty
    or no limit. ``p_conform`` is the chance that the true value lies within the limits (normal
    distribution). The acceptance limits are None on a side without a limit. ``why`` is one
    short code.
    """

    decision: str
    rule: Rule
    p_conform: float | None
    acceptance_low: float | None
    acceptance_high: float | None
    why: str


CERTIFICATE_TO_DISPLAY = {
    "pass": "inside",
    "conditional-pass": "undecided",
    "conditional-fail": "undecided",
    "fail": "outside",
}
"""The word of a display for each of a certificate's."""


def decide(
    value: float,
    u: float | None,
    low: float | None,
    high: float | None,
    rule: Rule = Rule.GUARD_U,
    *,
    k: float = 2.0,
) -> Decision:
    """Decide whether ``value`` lies within ``low`` .. ``high``, limits included.

    Args:
        value: the measured value, unrounded.
        u: its standard uncertainty, None where it is not known.
        low, high: tolerance limits; None on a side without one.
        rule: the decision rule, fixed before measuring.
        k: coverage factor; the guard band is U = k u.

    Raises:
        ValueError: a number is not finite, ``u`` is negative, or low exceeds high.
    """
    _check(value, u, low, high)
    if u is None or (low is None and high is None):
        why = "no-uncertainty" if u is None else "no-limits"
        return Decision("none", rule, None, None, None, why)
    band = Decimal(0) if rule is Rule.SIMPLE else Decimal(repr(float(u))) * Decimal(repr(float(k)))
    accept_low, accept_high = _moved(low, band), _moved(high, -band)
    decision, why = _word(
        rule,
        accepted=_within(value, accept_low, accept_high),
        within=_within(value, low, high),
        near=_within(value, _moved(low, -band), _moved(high, band)),
        empty=accept_low is not None and accept_high is not None and accept_low > accept_high,
    )
    chance = probability_of_conformity(value, u, low, high)
    return Decision(decision, rule, chance, accept_low, accept_high, why)


def probability_of_conformity(
    value: float, u: float, low: float | None, high: float | None
) -> float:
    """Return Phi((high - value)/u) - Phi((low - value)/u) (JCGM 106, 7.2 to 7.4)."""
    if u == 0:
        return 1.0 if _within(value, low, high) else 0.0
    below = 0.0 if low is None else (low - value) / u
    above = 0.0 if high is None else (high - value) / u
    if high is None:
        return float(special.ndtr(-below))
    if low is None:
        return float(special.ndtr(above))
    if below > 0:  # both limits above the value: the small tails keep their digits this way
        return float(special.ndtr(-below) - special.ndtr(-above))
    return float(special.ndtr(above) - special.ndtr(below))


def _word(rule: Rule, *, accepted: bool, within: bool, near: bool, empty: bool) -> tuple[str, str]:
    """Return the decision and its reason from where the value lies."""
    four = rule is Rule.GUARD_U_4
    if accepted:
        return ("pass" if four else "inside"), "within-acceptance"
    if not near:
        return ("fail" if four else "outside"), "beyond-limit"
    why = "u-too-large" if empty else "in-guard-band"
    if four:
        return ("conditional-pass" if within else "conditional-fail"), why
    return "undecided", why


def _moved(limit: float | None, by: Decimal) -> float | None:
    """Add as a person would, in decimals, so that a value on the limit is on it."""
    return None if limit is None else float(Decimal(repr(float(limit))) + by)


def _within(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def _check(value: float, u: float | None, low: float | None, high: float | None) -> None:
    named = {"value": value, "u": u, "low": low, "high": high}
    for name, number in named.items():
        if number is not None and not math.isfinite(number):
            raise ValueError(f"{name} is {number}, not a finite number")
    if u is not None and u < 0:
        raise ValueError(f"u is {u}, and a standard uncertainty is not negative")
    if low is not None and high is not None and low > high:
        raise ValueError(f"low {low} is above high {high}")
