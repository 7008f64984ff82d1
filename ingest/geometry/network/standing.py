"""On what the uncertainty of a network's result stands: shares of its variance, cause by cause.

A variance is the sum of its parts' squares (GUM 5.1.2, each part an input times its sensitivity),
so that each cause has a share of it, and the shares add up to one.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.measured import Measured
from ingest.core.units import DEG
from ingest.geometry.network.quantities import Quantity
from ingest.geometry.network.results import NOISE

CAUSES: tuple[tuple[str, str], ...] = (
    (r"^zero of the head at (.+)$", "zeros of heads"),
    (r"^(.+) zero$", "zeros of heads"),
    (r"^seat of the head at (.+)$", "how far out heads sit"),
    (r"^seat of ", "how far out heads sit"),
    (r"^centring of ", "how far off centre clamps sit (clamp_offset_mm)"),
    (r"^(?:port|stub) of ", "where ports are on their heads"),
    (r"^heights of the ports", "heights of ports"),
    (r"^distance ([^[]+?)(?: \[\d+\])?$", "tapes"),
    (r"^(?:direction|angle|azimuth) (.+?)(?:: the sightline itself| \[\d+\])?$", "sightlines"),
    (r"heading of axle (\d+ \w+)", "how wheels settle"),
)
"""What a source is of, by its name; the group in the pattern says which one."""

LEAST = 0.05
"""Causes with a smaller share of the variance are not named."""

WIDE_RAD = 0.1 * DEG
"""Of a wheel's or an axle's direction: with a larger U (k = 2) limits as narrow as are common can
hardly be decided (total toe 1/16 in across 22.5 in, common practice, is 0.16 deg)."""
EXPANDED = 2.0

MOST_CAUSES = 3
MOST_NAMED = 2


def told_of(quantity: Quantity) -> bool:
    """Say whether a result is a direction that a wheel or an axle is set to."""
    return quantity.angular and quantity.name != "setback"


@dataclass(frozen=True, slots=True)
class Share:
    """A cause, its share of the variance (0 to 1), and what it is of, the largest first."""

    cause: str
    share: float
    of: tuple[str, ...]


def shares(measured: Measured, readings: Sequence[str] = ()) -> tuple[Share, ...]:
    """Return the causes of a result's uncertainty, the largest first; none where it has none.

    Args:
        measured: the result with its parts.
        readings: their names, where the noise of all of them is one part (``results``).
    """
    own: dict[str, dict[str, float]] = {}
    for part in measured.parts:
        own_noise = part.source.name == NOISE and readings
        names = readings if own_noise else [part.source.name] * len(part.components)
        for name, component in zip(names, part.components, strict=True):
            cause, which = _cause(name)
            within = own.setdefault(cause, {})
            within[which] = within.get(which, 0.0) + component**2
    total = sum(sum(within.values()) for within in own.values())
    if total <= 0.0:
        return ()
    found = (
        Share(cause, sum(within.values()) / total, _largest(within))
        for cause, within in own.items()
    )
    return tuple(sorted(found, key=lambda each: -each.share))


def in_words(found: Sequence[Share]) -> str:
    """Return the causes that count: ``43 % tapes (P to L3, P to R3), 21 % zeros of heads``."""
    told = [each for each in found[:MOST_CAUSES] if each.share >= LEAST]
    return ", ".join(
        f"{100.0 * each.share:.0f} % {each.cause}{_of(each.of)}" for each in told or found[:1]
    )


def _of(names: Sequence[str]) -> str:
    return f" ({', '.join(names[:MOST_NAMED])})" if names else ""


def _largest(within: dict[str, float]) -> tuple[str, ...]:
    in_order = sorted(within, key=lambda which: -within[which])
    return tuple(which for which in in_order if which)


def _cause(name: str) -> tuple[str, str]:
    for pattern, cause in CAUSES:
        found = re.search(pattern, name)
        if found is not None:
            return cause, found[1] if found.re.groups else ""
    return name, ""
