"""Two sets of limits held side by side, figure by figure, in words and in one unit."""

from dataclasses import dataclass

from ingest.job.limits.limit import Key, Limit
from ingest.job.limits.limitset import LimitSet
from ingest.job.limits.units import common, common_unit

SAME = 1e-9
"""rad or m: what two spellings of one figure may differ by."""
Bounds = tuple[float | None, float | None, float | None]


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that two sets say differently.

    ``text`` says it. ``first`` and ``second``: low, nominal and high in ``unit`` (deg or mm), None
    where a set has no such limit.
    """

    key: Key
    text: str
    unit: str
    first: Bounds | None
    second: Bounds | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs: the sets' own ``settings`` in words, and the limits."""

    settings: tuple[str, ...]
    differences: tuple[Difference, ...]
    same: int
    """How many limits say the same in both."""


def compare(first: LimitSet, second: LimitSet) -> Comparison:
    """Return in what ``second`` differs from ``first``, in the order of their limits."""
    settings = []
    if first.rule is not second.rule:
        settings.append(f"decision rule {first.rule} → {second.rule}")
    if first.note != second.note:
        settings.append("the notes differ")
    keys = list(dict.fromkeys(limit.key for one in (first, second) for limit in one.limits))
    found = [_difference(key, first.find(key), second.find(key)) for key in keys]
    differences = tuple(each for each in found if each is not None)
    return Comparison(tuple(settings), differences, len(keys) - len(differences))


def _difference(key: Key, one: Limit | None, other: Limit | None) -> Difference | None:
    unit = common_unit(key.quantity)
    before, after = _bounds(one), _bounds(other)
    if one is None or other is None:
        there = one or other
        assert there is not None
        which = "only in the second" if one is None else "only in the first"
        text = f"{key}: {which}: {there.figures}{_told(before or after, unit)}"
        return Difference(key, text, unit, before, after)
    assert before is not None
    assert after is not None
    if _alike(one, other):
        return _said_otherwise(key, one, other, unit)
    text = f"{key}: {one.figures}{_told(before, unit)} → {other.figures}{_told(after, unit)}"
    return Difference(key, f"{text}: {_word(before, after)}", unit, before, after)


def _said_otherwise(key: Key, one: Limit, other: Limit, unit: str) -> Difference | None:
    """Return the same figures told otherwise; None where they are told alike."""
    parts = []
    if one.figures != other.figures:
        parts.append(f"{one.figures} → {other.figures}, which is the same")
    if one.origin.source != other.origin.source:
        parts.append(f"source {one.origin.source} → {other.origin.source}")
    if not parts:
        return None
    return Difference(key, f"{key}: {'; '.join(parts)}", unit, _bounds(one), _bounds(other))


def _bounds(limit: Limit | None) -> Bounds | None:
    if limit is None:
        return None
    low, nominal, high = (
        None if si is None else common(limit.key.quantity, si)
        for si in (limit.low, limit.nominal, limit.high)
    )
    return low, nominal, high


def _alike(one: Limit, other: Limit) -> bool:
    pairs = ((one.low, other.low), (one.nominal, other.nominal), (one.high, other.high))
    return all(a == b if a is None or b is None else abs(a - b) < SAME for a, b in pairs)


def _word(before: Bounds, after: Bounds) -> str:
    """Return what became of the tolerance."""
    if (before[0], before[2]) == (after[0], after[2]):
        return "another nominal"
    infinite = float("inf")
    low = [-infinite if each[0] is None else each[0] for each in (before, after)]
    high = [infinite if each[2] is None else each[2] for each in (before, after)]
    if low[1] >= low[0] and high[1] <= high[0]:
        return "narrower"
    if low[1] <= low[0] and high[1] >= high[0]:
        return "wider"
    return "elsewhere"


def _told(bounds: Bounds | None, unit: str) -> str:
    if bounds is None:
        return ""
    names = ("low", "nominal", "high")
    shown = [f"{n} {b:.4f}" for n, b in zip(names, bounds, strict=True) if b is not None]
    return f" ({', '.join(shown)} {unit})"
