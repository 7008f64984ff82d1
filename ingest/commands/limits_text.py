"""Sets of limits for people, and as JSON."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from ingest.job.limits.comparing import Comparison
from ingest.job.limits.limit import Limit
from ingest.job.limits.limitset import LimitSet
from ingest.job.limits.units import common, common_unit

MINUS = re.compile(r"(?<![\w)])-(?=[0-9.])")


def with_minus(text: str) -> str:
    """Give numbers a true minus sign, and leave the hyphens of words and references alone."""
    return MINUS.sub("\u2212", text)


def as_text(limits: LimitSet) -> str:
    """Return a set in full: every limit, and under it where it is from."""
    lines = [head(limits)]
    if limits.note:
        lines.append(f"  {limits.note}")
    lines.append(f"  decision rule {limits.rule}")
    for limit in limits.limits:
        lines += [f"{limit.key}: {with_minus(str(limit.figures))}{_in_common(limit)}"]
        origin = limit.origin
        lines += [f"    {origin.source}; entered {origin.date} by {origin.author}"]
    if not limits.limits:
        lines.append("no limits yet; levelhead limits set enters one")
    return "\n".join(lines)


def head(limits: LimitSet) -> str:
    """Return one line about a version."""
    change = f": {limits.change}" if limits.change else ""
    return f"{limits.version}, {limits.date} by {limits.author}{change}"


def summary(histories: Iterable[tuple[LimitSet, bool]]) -> str:
    """Return one line for each set; with each, whether it came with levelhead."""
    lines = []
    for limits, ours in histories:
        count = f"{len(limits.limits)} limit{'' if len(limits.limits) == 1 else 's'}"
        whose = "comes with levelhead" if ours else f"{limits.date} by {limits.author}"
        lines.append(f"{limits.version}, {count}, {whose}")
        if limits.note:
            lines.append(f"  {limits.note}")
    return "\n".join(lines)


def compared(first: LimitSet, second: LimitSet, found: Comparison) -> str:
    """Return what differs, one line each."""
    lines = [f"{first.version} → {second.version}", *found.settings]
    lines += [with_minus(each.text) for each in found.differences]
    many = "limit is" if found.same == 1 else "limits are"
    lines.append(f"{found.same} {many} the same")
    return "\n".join(lines)


def as_json(limits: LimitSet) -> dict[str, Any]:
    """Return a set as one object."""
    before = limits.predecessor
    return {
        "name": limits.name,
        "version": limits.number,
        "author": limits.author,
        "date": limits.date.isoformat(),
        "note": limits.note,
        "rule": limits.rule.value,
        "change": limits.change,
        "predecessor": None if before is None else {"name": before.name, "version": before.number},
        "restores": limits.restores,
        "limits": [limit_json(limit) for limit in limits.limits],
    }


def limit_json(limit: Limit) -> dict[str, Any]:
    """Return a limit: as it was entered, and its numbers in deg (or mm)."""
    key, figures, origin = limit.key, limit.figures, limit.origin
    return {
        "axle": key.axle,
        "quantity": key.quantity.value,
        "side": key.side,
        "load": key.load.value,
        "low": figures.low,
        "nominal": figures.nominal,
        "high": figures.high,
        "unit": figures.unit.value,
        "across": figures.across,
        **{f"{name}_{common_unit(key.quantity)}": value for name, value in _common(limit)},
        "source": origin.source,
        "date": origin.date.isoformat(),
        "author": origin.author,
    }


def _common(limit: Limit) -> Iterator[tuple[str, float | None]]:
    for name, si in (("low", limit.low), ("nominal", limit.nominal), ("high", limit.high)):
        yield name, None if si is None else common(limit.key.quantity, si)


def _in_common(limit: Limit) -> str:
    """Return the numbers in degrees (or mm) where they were entered in something else."""
    unit = common_unit(limit.key.quantity)
    if limit.figures.unit == unit:
        return ""
    symbol = "°" if unit == "deg" else " mm"
    shown = [f"{name} {value:.4f}{symbol}" for name, value in _common(limit) if value is not None]
    return with_minus(f" ({', '.join(shown)})")
