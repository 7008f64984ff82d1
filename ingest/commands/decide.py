"""``levelhead decide``: whether a value lies within its limits, given its uncertainty."""

import argparse
import json
import math
import re

from calibration.decision import Decision, Rule, decide
from ingest.core.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options. Numbers are read in ``run``, for a one-line message."""
    # argparse knows -1.5 as a number, but takes -1e-3 for an option.
    parser._negative_number_matcher = re.compile(r"^-(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$")
    parser.add_argument("--value", metavar="V", help="the measured value")
    parser.add_argument("--u", metavar="U", help="its standard uncertainty (guard band: 2 u)")
    parser.add_argument("--low", metavar="L", help="lower limit; leave out where there is none")
    parser.add_argument("--high", metavar="H", help="upper limit; leave out where there is none")
    parser.add_argument(
        "--rule",
        default=Rule.GUARD_U.value,
        metavar="|".join(Rule),
        help="decision rule (default: %(default)s)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Decide and print. Raises ``InputError`` where an argument is unusable."""
    value = _number("--value", args.value)
    u = _number("--u", args.u)
    low, high = _optional("--low", args.low), _optional("--high", args.high)
    rule = _rule(args.rule)
    if low is None and high is None:
        raise InputError("--low, --high", None, "no limit is given; give one or both")
    if u < 0:
        raise InputError("--u", None, f"{args.u} is negative; a standard uncertainty is not")
    if low is not None and high is not None and low > high:
        raise InputError("--low", None, f"{args.low} is above --high {args.high}; swap them")
    decision = decide(value, u, low, high, rule)
    print(_json(decision) if args.json else _text(decision, value, u))
    return 0


def _number(option: str, text: str | None) -> float:
    if text is None:
        raise InputError(option, None, "missing; give a number")
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        hint = "; use a point, not a comma" if "," in text else ""
        raise InputError(option, None, f"{text!r} is not a finite number{hint}")
    return number


def _optional(option: str, text: str | None) -> float | None:
    return None if text is None else _number(option, text)


def _rule(text: str) -> Rule:
    try:
        return Rule(text)
    except ValueError:
        reason = f"{text!r} is not a rule; choose one of {', '.join(Rule)}"
        raise InputError("--rule", None, reason) from None


def _json(decision: Decision) -> str:
    return json.dumps(
        {
            "decision": decision.decision,
            "p_conform": decision.p_conform,
            "acceptance_low": decision.acceptance_low,
            "acceptance_high": decision.acceptance_high,
            "rule": decision.rule.value,
            "why": decision.why,
        }
    )


WHY = {
    "within-acceptance": "it lies within the acceptance limits",
    "in-guard-band": "it lies too near a limit to tell at this uncertainty",
    "u-too-large": "the uncertainty is too large for these limits; no value could be inside",
    "beyond-limit": "it lies beyond a limit by more than the rule allows for",
}


def _text(decision: Decision, value: float, u: float) -> str:
    return (
        f"{decision.decision}: {WHY[decision.why]}\n"
        f"  value {value:g}, u {u:g}, rule {decision.rule}\n"
        f"  accepted {_accepted(decision.acceptance_low, decision.acceptance_high)}\n"
        f"  probability of conformity {decision.p_conform:.4f}"
    )


def _accepted(low: float | None, high: float | None) -> str:
    if low is None:
        return f"up to {high:g}"
    if high is None:
        return f"from {low:g} up"
    return f"from {low:g} to {high:g}" if low <= high else "nowhere"
