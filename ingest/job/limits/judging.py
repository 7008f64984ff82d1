"""Whether a measured value meets its limit (JCGM 106), and what to say where nobody can tell."""

from dataclasses import dataclass

from calibration.decision import CERTIFICATE_TO_DISPLAY, Rule, decide
from calibration.measured import Measured
from calibration.reporting import coverage_factor
from ingest.job.limits.limit import Limit, Load
from ingest.job.limits.limitset import LimitSet
from ingest.job.limits.matching import Match, Place, match

NO_LIMIT = "no-limits"
OTHER_LOAD = "other-load"
LOAD_UNKNOWN = "load-unknown"


@dataclass(frozen=True, slots=True)
class Judgement:
    """A decision, what it rests on and what to say of it.

    ``decision`` is ``inside``, ``undecided``, ``outside`` or ``none``; ``word`` the rule's own
    (four words under guard-u-4). ``value``, ``U`` and the acceptance limits are in the unit of the
    limit, None where there is none. ``why`` is a code, ``text`` a sentence for people.
    """

    decision: str
    why: str
    text: str
    rule: Rule
    limit: Limit | None = None
    word: str = "none"
    value: float | None = None
    U: float | None = None
    p_conform: float | None = None
    acceptance_low: float | None = None
    acceptance_high: float | None = None


def judge(limits: LimitSet, place: Place, measured: Measured, load: Load) -> Judgement:
    """Hold a value (rad or m) against what a set says of its place.

    Raises ``LimitsError`` where the set contradicts itself.
    """
    return judge_match(match(limits, place, load), measured, load, limits.rule)


def judge_match(found: Match, measured: Measured, load: Load, rule: Rule) -> Judgement:
    """Hold a value (rad or m) against a limit, in the unit that the limit was entered in.

    A figure for another load state decides nothing: toe and camber change with the load.
    """
    limit = found.limit
    if limit is None:
        return Judgement("none", NO_LIMIT, "no limit is known for it, so nothing is decided", rule)
    if found.other_load:
        return _unloaded(limit, load, rule)
    if not limit.decides:
        text = f"{limit.figures}; no tolerance is given with it, so nothing is decided"
        return Judgement("none", NO_LIMIT, text, rule, limit)
    k = coverage_factor(measured.dof)
    here = limit.scale.measured(measured)
    low, high = (limit.figures.number(text) for text in (limit.figures.low, limit.figures.high))
    decision = decide(
        here.value,
        here.u,
        None if low is None else float(low),
        None if high is None else float(high),
        rule,
        k=k,
    )
    U = k * here.u  # noqa: N806
    return Judgement(
        CERTIFICATE_TO_DISPLAY.get(decision.decision, decision.decision),
        decision.why,
        f"{TEXT[decision.why]} ({limit.figures}){_help(decision.why, here.value, limit)}",
        rule,
        limit,
        decision.decision,
        here.value,
        U,
        decision.p_conform,
        decision.acceptance_low,
        decision.acceptance_high,
    )


TEXT = {
    "within-acceptance": "it meets the limit",
    "beyond-limit": "it does not meet the limit",
    "in-guard-band": "it lies too near the limit to tell",
    "u-too-large": "it is not known well enough for so narrow a limit",
}


def _unloaded(limit: Limit, load: Load, rule: Rule) -> Judgement:
    figure = f"the limit ({limit.figures}) is for a vehicle that is {limit.key.load}"
    if load is Load.ANY:
        text = f"{figure}, and nobody has said whether this one is; nothing is decided"
        return Judgement("none", LOAD_UNKNOWN, text, rule, limit)
    wanted = f"measure it {limit.key.load}, or find the maker's figure for one that is {load}"
    text = f"{figure}, and this one is {load}; nothing is decided: {wanted}"
    return Judgement("none", OTHER_LOAD, text, rule, limit)


def _help(why: str, value: float, limit: Limit) -> str:
    """Return what would settle it, where something would."""
    unit, figures = limit.figures.unit, limit.figures
    if why not in ("in-guard-band", "u-too-large"):
        return ""
    edges = [float(n) for t in (figures.low, figures.high) if (n := figures.number(t)) is not None]
    room = min(abs(value - edge) for edge in edges)
    symbol = "°" if unit == "deg-min" else unit.symbol
    return f"; an uncertainty U of {room:.2g}{symbol} or less would settle it"
