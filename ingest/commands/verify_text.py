"""What ``levelhead verify`` prints: tables for people, or one object with unrounded numbers."""

import math
from collections.abc import Iterable, Sequence
from typing import Any

from calibration.records.results import Budget, Figure, Point, Run, Verdict
from calibration.reporting import on_screen
from calibration.verification.budget import Budget as Computed
from calibration.verification.record_budgets import Tried
from calibration.verification.run import ChannelResult, Verification
from calibration.verification.verdicts import impact

POINT_HEADS = ("nominal", "", "n", "reference", "indication", "error", "U", "k")
FIGURE_HEADS = ("figure", "value", "", "k", "limit", "verdict", "chance", "found at")
LINE_HEADS = (
    "source",
    "estimate",
    "u",
    "distribution",
    "divisor",
    "sensitivity",
    "contribution",
    "dof",
)


def as_text(run: Run, budgets: Sequence[Budget], tried: Sequence[Tried]) -> str:
    """Return the run for people, with the digits of the record. Angles in degrees."""
    blocks = []
    turned = [p.channel for p in run.points]
    for channel in dict.fromkeys([*turned, *(f.channel for f in run.figures)]):
        points = [_point(p) for p in run.points if p.channel == channel]
        said = f": error at each point, degrees\n{_table(POINT_HEADS, points)}\n" if points else ""
        figures = [_figure(f, run) for f in run.figures if f.channel == channel]
        blocks.append(f"{channel}{said}\n{_table(FIGURE_HEADS, figures)}")
        blocks += [
            f"budget of {channel} {b.at}, degrees\n{_table(LINE_HEADS, map(_line, b.lines))}\n"
            f"{_sum(b, t)}"
            for b, t in zip(budgets, tried, strict=True)
            if b.channel == channel
        ]
    return "\n\n".join(blocks)


def as_json(verification: Verification, tried: Sequence[Tried], when: str) -> dict[str, Any]:
    """Return the run as finite numbers, unrounded, or null."""
    return {
        "as": when,
        "references": [reference.id for reference in verification.references],
        "channels": [_channel(c, tried) for c in verification.channels],
        "impact": impact(verification.verdicts) if when == "found" else None,
    }


def _point(p: Point) -> tuple[str, ...]:
    return (
        p.nominal,
        p.direction,
        str(p.repeats),
        p.reference,
        p.indication,
        p.error,
        p.U,
        p.k,
    )


def _figure(figure: Figure, run: Run) -> tuple[str, ...]:
    unit = "" if figure.unit == "1" else f" {figure.unit}"
    known = "" if figure.U is None else f"± {figure.U}"
    row = (figure.name, figure.value, f"{known}{unit}", figure.k or "")
    same = (v for v in run.verdicts if (v.channel, v.name) == (figure.channel, figure.name))
    shared = ("of head and reference together",) if figure.together else ()
    at = ", ".join((figure.at or "", *shared)).removeprefix(", ")
    return (*row, *_verdict(next(same, None)), at)


def _verdict(verdict: Verdict | None) -> tuple[str, str, str]:
    if verdict is None:
        return "", "", ""
    return f"{verdict.low} .. {verdict.high}", verdict.decision, verdict.p_conform or ""


def _line(line: Any) -> tuple[str, ...]:
    return tuple(
        "many" if (text := getattr(line, name)) is None else str(text) for name in LINE_HEADS
    )


def _sum(budget: Budget, tried: Tried) -> str:
    freedom = "many" if budget.dof is None else budget.dof
    lines = [f"u {budget.u}, degrees of freedom {freedom}, k {budget.k}, U {budget.U}"]
    trials, told = tried.trials, budget.monte_carlo
    if trials is not None and told is not None:
        low, high = tried.budget.interval(trials.probability)
        word = "agrees" if trials.agrees else "differs in two digits of u"
        lines.append(
            f"Monte Carlo, {told.trials} trials: u {told.u}, 95 % from {told.low} to {told.high}; "
            f"from the budget {low:.6f} to {high:.6f}: {word}"
        )
    return "\n".join(lines)


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return columns, the first to the left and the others to the right."""
    cells = [tuple(heads), *(tuple(map(_shown, row)) for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(heads))]
    return "\n".join(
        "  " + "  ".join((row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:]))).rstrip()
        for row in cells
    )


def _shown(cell: str) -> str:
    """Give numbers their true minus sign, and leave the hyphens of words alone."""
    return on_screen(cell) if any(letter.isdigit() for letter in cell) else cell


def _channel(channel: ChannelResult, tried: Sequence[Tried]) -> dict[str, Any]:
    return {
        "channel": channel.channel,
        "points": [
            {
                "nominal_deg": float(p.at.nominal_deg),
                "direction": p.at.direction,
                "repeats": p.repeats,
                "reference_deg": p.reference_deg,
                "indication_deg": p.indication_deg,
                "error_deg": p.error_deg,
                **_known(p.budget, "_deg"),
            }
            for p in channel.points
        ],
        "figures": [
            {
                "name": f.name,
                "value": f.value,
                "unit": f.unit,
                "u": None if f.k is None else f.measured.u,
                "k": f.k,
                "U": f.expanded,
                "at": f.at,
                "under": f.under,
                "together": f.together,
            }
            for f in channel.figures
        ],
        "verdicts": [
            {
                "name": v.name,
                "value": v.measured.value,
                "low": -v.high,
                "high": v.high,
                "U": v.expanded,
                "k": v.k,
                "at": v.at,
                "rule": v.rule.value,
                "decision": v.decision,
                "p_conform": v.p_conform,
            }
            for v in channel.verdicts
        ],
        "budgets": [_budget(t) for t in tried if t.channel == channel.channel],
    }


def _budget(tried: Tried) -> dict[str, Any]:
    trials = tried.trials
    return {
        "at": tried.at,
        "lines": [
            {
                "source": line.input.source,
                "estimate": line.input.estimate,
                "u": line.input.u,
                "distribution": line.input.distribution.value,
                "divisor": line.input.divisor,
                "sensitivity": line.sensitivity,
                "contribution": line.contribution,
                "dof": _finite(line.input.dof),
            }
            for line in tried.budget.lines
        ],
        **_known(tried.budget, "_deg"),
        "monte_carlo": trials
        and {
            "trials": trials.trials,
            "seed": trials.seed,
            "u_deg": trials.u,
            "low_deg": trials.low,
            "high_deg": trials.high,
            "probability": trials.probability,
            "agrees": trials.agrees,
        },
    }


def _known(budget: Computed, suffix: str) -> dict[str, float | None]:
    return {
        f"u{suffix}": budget.u,
        "dof": _finite(budget.dof),
        "k": budget.k,
        f"U{suffix}": budget.expanded,
    }


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None
