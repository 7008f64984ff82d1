"""What the parts of a certificate share: facts, columns, and limits in words."""

from collections.abc import Iterable, Sequence

from calibration.document.blocks import Column, Facts
from calibration.document.plain import quantity
from calibration.records.results import Verdict


def known(items: Iterable[tuple[str, str | None]]) -> Facts:
    """Return the facts that there are."""
    return Facts(tuple((label, value) for label, value in items if value))


def columns(
    titles: Sequence[str], widths: dict[str, int], right: Iterable[str] = ()
) -> tuple[Column, ...]:
    """Return columns; those named in ``right`` hold numbers."""
    ranged = set(right)
    return tuple(
        Column(title, "right" if title in ranged else "left", widths.get(title, 0))
        for title in titles
    )


def limits(verdict: Verdict) -> str:
    """Return between which limits a figure has to lie."""
    low, high = verdict.low, verdict.high
    if low is not None and high is not None:
        if low == f"-{high}":
            return f"± {quantity(high, verdict.unit)}"
        return f"{quantity(low, verdict.unit)} to {quantity(high, verdict.unit)}"
    if low is not None:
        return f"at least {quantity(low, verdict.unit)}"
    return "–" if high is None else f"at most {quantity(high, verdict.unit)}"
