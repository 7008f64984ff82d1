"""What may be done to a set of limits: each gives a new version, and leaves the old one alone."""

import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from calibration.decision import Rule
from ingest.geometry.entered import rational
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import LONGEST, Figures, Key, Limit, Origin
from ingest.job.limits.limitset import LimitSet, Version

NARROWED = re.compile(r"(.*); narrowed to ([0-9.e-]+) of it")
LONGEST_SOURCE = LONGEST - 40
"""What is left of a source that has to say more."""


@dataclass(frozen=True, slots=True)
class By:
    """Who makes a version, and when."""

    author: str
    date: datetime.date


@dataclass(frozen=True, slots=True)
class Change:
    """What to enter: keys left out stay as they are, a key that is None goes.

    ``source`` of the new figures; ``figures`` by the names of ``Figures``.
    """

    figures: Mapping[str, object]
    source: str

    def of(self, key: Key, before: Figures | None, by: By) -> Limit:
        """Return the limit as changed. Raises ``LimitsError``."""
        try:
            figures = self._new() if before is None else self._changed(before)
        except ValueError as error:
            raise LimitsError(str(key), str(error)) from error
        return Limit(key, figures, Origin(self.source, by.date, by.author))

    def _new(self) -> Figures:
        if self.figures.get("unit") is None:
            raise ValueError("no such limit yet; give its unit")
        return replace(Figures(self.figures["unit"]), **self.figures)  # type: ignore[arg-type]

    def _changed(self, before: Figures) -> Figures:
        """Another unit, or another diameter, makes every old number mean something else."""
        kept = [name for name in ("low", "nominal", "high") if getattr(before, name) is not None]
        for name in ("unit", "across"):
            if self.figures.get(name, getattr(before, name)) == getattr(before, name):
                continue
            left = [each for each in kept if each not in self.figures]
            if left:
                reason = f"another {name} changes what {' and '.join(left)} mean; give them anew"
                raise ValueError(reason)
        return replace(before, **self.figures)  # type: ignore[arg-type]


def new_set(name: str, by: By, *, note: str = "", rule: Rule = Rule.GUARD_U) -> LimitSet:
    """Return the first version of a set with no limits."""
    return LimitSet(Version(name, 1), by.author, by.date, note, rule, change="made from nothing")


def saved_as(base: LimitSet, name: str, by: By, note: str | None = None) -> LimitSet:
    """Return the first version of another name, with the limits of ``base``."""
    return replace(
        base,
        version=Version(name, 1),
        author=by.author,
        date=by.date,
        note=base.note if note is None else note,
        predecessor=base.version,
        change=f"saved from {base.version}",
        restores=None,
    )


def with_rule(base: LimitSet, rule: Rule, by: By) -> LimitSet:
    """Return the set under another decision rule."""
    if rule is base.rule:
        raise LimitsError(base.name, f"its rule is {rule} already")
    return replace(_next(base, by, f"decision rule {base.rule} → {rule}"), rule=rule)


def with_figure(base: LimitSet, key: Key, change: Change, by: By) -> LimitSet:
    """Return the set with one limit changed, or added where it was not there."""
    before = base.find(key)
    limit = change.of(key, None if before is None else before.figures, by)
    return _with(base, {key: limit}, by, f"{key}: {limit.figures}")


def on_every_axle(
    base: LimitSet, chosen: Callable[[Key], bool], change: Change, by: By
) -> LimitSet:
    """Return the set with one change made to every limit that is chosen, of whichever axle."""
    old = [limit for limit in base.limits if chosen(limit.key)]
    if not old:
        raise LimitsError(base.name, "no axle has such a limit; give one with axle every")
    new = {limit.key: change.of(limit.key, limit.figures, by) for limit in old}
    quantity = old[0].key.quantity.kind.words
    return _with(base, new, by, f"{quantity} of every axle that had one ({len(new)})")


def without(base: LimitSet, key: Key, by: By) -> LimitSet:
    """Return the set without one limit."""
    if base.find(key) is None:
        raise LimitsError(base.name, f"has no limit for {key}")
    kept = tuple(limit for limit in base.limits if limit.key != key)
    return replace(_next(base, by, f"{key}: taken out"), limits=kept)


@dataclass(frozen=True, slots=True)
class Narrowed:
    """A set with its tolerances narrowed; ``left`` had nothing to be narrowed about."""

    limits: LimitSet
    left: tuple[Key, ...]


def narrowed(base: LimitSet, factor: str, by: By) -> Narrowed:
    """Return the set with every tolerance times ``factor``, about its nominal.

    Where there is no nominal, about the middle of low and high; a single limit with no nominal
    has no middle, stays as it is, and is named. What 12 decimals cannot hold is rounded inward.

    Raises:
        LimitsError: ``factor`` is no number above 0 and at most 1, or nothing can be narrowed.
    """
    share = _share(factor)
    limits, left = [], []
    for limit in base.limits:
        about = _about(limit.figures)
        if about is None:
            left.append(limit.key)
            limits.append(limit)
        else:
            limits.append(_narrower(limit, about, share, by))
    if len(left) == len(base.limits):
        raise LimitsError(base.name, "has no tolerance that could be narrowed")
    made = _next(base, by, f"every tolerance narrowed to {factor.strip()} of it")
    return Narrowed(replace(made, limits=tuple(limits)), tuple(left))


def undone(
    newest: LimitSet, history: Sequence[LimitSet], by: By, to: int | None = None
) -> LimitSet:
    """Return a version with the content of the one before the last change, or of version ``to``.

    It is a new version, so an undo can be undone (by naming the version), and nothing is lost.

    Args:
        newest: the set as it stands.
        history: the stored versions of its name.
        to: the version wanted; None for one step back, several undos in a row going further.

    Raises:
        LimitsError: there is no such version, or nothing before the first.
    """
    by_number = {each.number: each for each in history}
    here = _content_of(newest, by_number)
    if to is None:
        before = here.predecessor
        if before is None or before.name != newest.name:
            raise LimitsError(newest.name, f"version {here.number} is its first; nothing to undo")
        to = before.number
    if to not in by_number:
        known = ", ".join(str(number) for number in sorted(by_number))
        raise LimitsError(newest.name, f"has no version {to}; there are {known}")
    wanted = _content_of(by_number[to], by_number)
    if wanted.number == here.number:
        raise LimitsError(newest.name, f"is as version {wanted.number} was already")
    made = _next(newest, by, f"back to version {wanted.number}")
    return replace(
        made,
        limits=wanted.limits,
        rule=wanted.rule,
        note=wanted.note,
        restores=wanted.number,
    )


def imported(read: LimitSet, newest: LimitSet | None, by: By | None = None) -> LimitSet:
    """Return what to store of a set that was read from a file.

    Under a name that is not there yet it stays wholly what it is; else it becomes the next version,
    since nothing is ever overwritten.
    """
    if newest is None:
        return read
    made = _next(newest, by or By(read.author, read.date), "imported")
    return replace(made, limits=read.limits, rule=read.rule, note=read.note)


def _content_of(one: LimitSet, by_number: Mapping[int, LimitSet]) -> LimitSet:
    """Return the version that first had the content of this one."""
    return one if one.restores is None else by_number.get(one.restores, one)


def _next(base: LimitSet, by: By, change: str) -> LimitSet:
    return replace(
        base,
        version=Version(base.name, base.number + 1),
        author=by.author,
        date=by.date,
        predecessor=base.version,
        change=change,
        restores=None,
    )


def _with(base: LimitSet, new: Mapping[Key, Limit], by: By, change: str) -> LimitSet:
    kept = tuple(new.get(limit.key, limit) for limit in base.limits)
    added = tuple(limit for key, limit in new.items() if base.find(key) is None)
    return replace(_next(base, by, change[:300]), limits=kept + added)


def _share(factor: str) -> Fraction:
    try:
        share = rational(factor)
    except ValueError as error:
        raise LimitsError("factor", str(error)) from error
    if share <= 0:
        raise LimitsError("factor", f"{factor} leaves no tolerance; give one above 0, at most 1")
    if share > 1:
        raise LimitsError("factor", f"{factor} would widen the limits; give one above 0, at most 1")
    return share


def _about(figures: Figures) -> Fraction | None:
    low, nominal, high = map(figures.number, (figures.low, figures.nominal, figures.high))
    if low is None and high is None:
        return None
    if nominal is not None:
        return nominal
    return None if low is None or high is None else (low + high) / 2


def _narrower(limit: Limit, about: Fraction, share: Fraction, by: By) -> Limit:
    def moved(text: str | None, *, upward: bool) -> str | None:
        number = limit.figures.number(text)
        if number is None or share == 1:
            return text
        return limit.figures.unit.text(about + (number - about) * share, upward=upward)

    if share == 1:
        return limit
    figures = replace(
        limit.figures,
        low=moved(limit.figures.low, upward=True),
        high=moved(limit.figures.high, upward=False),
    )
    return Limit(limit.key, figures, Origin(_narrowed_source(limit, share), by.date, by.author))


def _narrowed_source(limit: Limit, share: Fraction) -> str:
    before = NARROWED.fullmatch(limit.origin.source)
    source = limit.origin.source if before is None else before[1]
    whole = share if before is None else share * Fraction(before[2])
    return f"{source[:LONGEST_SOURCE]}; narrowed to {float(whole):.6g} of it"
