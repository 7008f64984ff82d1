"""The best packs from the shims at hand: an exact search over bounded counts.

Thicknesses are whole nanometres here, so that sums are exact and equal packs are equal. All
that can be told apart of a pair of packs is their two thicknesses; of all the ways to one pair of
thicknesses only the least work is kept, kind after kind, so nothing is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from ingest.core.errors import MeasurementRefused

NM_PER_M = 1_000_000_000

MOST_TRIED = 3_000_000
"""Some seconds of search."""

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class ShimKind:
    """Shims of one thickness: how many lie in stock, and how many are in each pack now."""

    thickness_m: float
    stock: int
    left: int = 0
    right: int = 0

    @property
    def thickness_nm(self) -> int:
        """The thickness in whole nanometres."""
        return round(self.thickness_m * NM_PER_M)

    @property
    def total(self) -> int:
        """All shims of this kind."""
        return self.stock + self.left + self.right


@dataclass(frozen=True, slots=True)
class Packs:
    """Two packs: per kind the count on the left and on the right, and both thicknesses."""

    counts: tuple[Pair, ...]
    left_nm: int
    right_nm: int


@dataclass(frozen=True, slots=True)
class Sought:
    """What is sought: ``right - left`` near ``difference_m``.

    ``free`` says which of the packs (left, right) may be changed; neither may become thicker
    than ``most_m``. One pack alone is the left or right one with the other not free and empty.
    Packs that come as near as ``good_enough_m`` are all equally good.
    """

    difference_m: float
    free: tuple[bool, bool]
    most_m: float
    good_enough_m: float = 0.0


class _Way(NamedTuple):
    """``handled`` shims are put in or taken out, ``used`` are there in the end; ``choice`` is the
    count of the last kind on either side, ``before`` the thicknesses without it.

    A plain tuple, which compares least work first: there may be a million of them."""

    handled: int
    used: int
    choice: Pair
    before: Pair


Layer = dict[Pair, _Way]


def best_packs(kinds: Sequence[ShimKind], sought: Sought) -> Packs | None:
    """Return the packs that come nearest; None where even no pack would fit.

    Among equals the one with the fewest shims handled, then the fewest shims in the packs.
    Raises: ``MeasurementRefused`` (``too-many-packs``) where the search would take too long.
    """
    layers = _layers(tuple(kinds), sought.free, round(sought.most_m * NM_PER_M))
    last = layers[-1]
    if not last:
        return None
    goal_nm, enough_nm = sought.difference_m * NM_PER_M, sought.good_enough_m * NM_PER_M

    def merit(pair: Pair) -> tuple[float, _Way]:
        return round(max(abs(pair[1] - pair[0] - goal_nm), enough_nm), 3), last[pair]

    pair = min(last, key=merit)
    return Packs(_counts(layers, pair), *pair)


@lru_cache(maxsize=2)
def _layers(
    kinds: tuple[ShimKind, ...], free: tuple[bool, bool], most_nm: int
) -> tuple[Layer, ...]:
    """Return all pairs of thicknesses that there are, kind after kind; not to be changed.

    Kept, since advice is asked ten times a second while the difference changes and the shims do
    not; not many, since they may be large.
    """
    layers: list[Layer] = [{(0, 0): _Way(0, 0, (0, 0), (0, 0))}]
    tried = 0
    for kind in kinds:
        choices = _choices(kind, free)
        tried += len(choices) * len(layers[-1])
        if tried > MOST_TRIED:
            raise _too_many(tried)
        layers.append(_extended(layers[-1], kind, choices, most_nm))
    return tuple(layers)


def _counts(layers: Sequence[Layer], pair: Pair) -> tuple[Pair, ...]:
    """Return the counts of each kind on the way to a pair of thicknesses."""
    counts = []
    for layer in reversed(layers[1:]):
        way = layer[pair]
        counts.append(way.choice)
        pair = way.before
    return tuple(reversed(counts))


def _choices(kind: ShimKind, free: tuple[bool, bool]) -> list[Pair]:
    lefts = range(kind.total + 1) if free[0] else (kind.left,)
    rights = range(kind.total + 1) if free[1] else (kind.right,)
    return [(a, b) for a in lefts for b in rights if a + b <= kind.total]


def _extended(ways: Layer, kind: ShimKind, choices: list[Pair], most_nm: int) -> Layer:
    each_nm = kind.thickness_nm
    added = [
        (a * each_nm, b * each_nm, abs(a - kind.left) + abs(b - kind.right), a + b, (a, b))
        for a, b in choices
    ]
    found: Layer = {}
    for before, way in ways.items():
        for more_left, more_right, handled, used, choice in added:
            left_nm, right_nm = before[0] + more_left, before[1] + more_right
            if left_nm > most_nm or right_nm > most_nm:
                continue
            new = _Way(way.handled + handled, way.used + used, choice, before)
            known = found.get((left_nm, right_nm))
            if known is None or new < known:
                found[left_nm, right_nm] = new
    return found


def _too_many(tried: int) -> MeasurementRefused:
    return MeasurementRefused(
        "too-many-packs",
        f"these shims make {tried} packs to try, limit {MOST_TRIED}; leave out shims that you "
        "would not use, or give a smaller most_mm",
        figure=tried,
        limit=MOST_TRIED,
    )
