"""The best packs from the shims at hand: an exact search over bounded counts.

Thicknesses are whole nanometres here, so that sums are exact and equal packs are equal. All
that can be told apart of a pair of packs is their two thicknesses; of all the ways to one pair of
thicknesses only the least work is kept, kind after kind, so nothing is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

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
    """

    difference_m: float
    free: tuple[bool, bool]
    most_m: float


@dataclass(frozen=True, slots=True)
class _Way:
    """``handled`` shims are put in or taken out, ``used`` are there in the end."""

    handled: int
    used: int
    counts: tuple[Pair, ...]

    @property
    def cost(self) -> tuple[int, int, tuple[Pair, ...]]:
        return self.handled, self.used, self.counts


def best_packs(kinds: Sequence[ShimKind], sought: Sought) -> Packs | None:
    """Return the packs that come nearest; None where even no pack would fit.

    Among equals the one with the fewest shims handled, then the fewest shims in the packs.
    Raises: ``MeasurementRefused`` (``too-many-packs``) where the search would take too long.
    """
    most_nm = round(sought.most_m * NM_PER_M)
    ways: dict[Pair, _Way] = {(0, 0): _Way(0, 0, ())}
    tried = 0
    for kind in kinds:
        choices = _choices(kind, sought.free)
        tried += len(choices) * len(ways)
        if tried > MOST_TRIED:
            raise _too_many(tried)
        ways = _extended(ways, kind, choices, most_nm)
    if not ways:
        return None
    goal_nm = sought.difference_m * NM_PER_M
    pair = min(ways, key=lambda p: (round(abs(p[1] - p[0] - goal_nm), 3), ways[p].cost))
    return Packs(ways[pair].counts, *pair)


def _choices(kind: ShimKind, free: tuple[bool, bool]) -> list[Pair]:
    lefts = range(kind.total + 1) if free[0] else (kind.left,)
    rights = range(kind.total + 1) if free[1] else (kind.right,)
    return [(a, b) for a in lefts for b in rights if a + b <= kind.total]


def _extended(
    ways: dict[Pair, _Way], kind: ShimKind, choices: list[Pair], most_nm: int
) -> dict[Pair, _Way]:
    each_nm = kind.thickness_nm
    found: dict[Pair, _Way] = {}
    for (left_nm, right_nm), way in ways.items():
        for a, b in choices:
            pair = left_nm + a * each_nm, right_nm + b * each_nm
            if max(pair) > most_nm:
                continue
            handled = way.handled + abs(a - kind.left) + abs(b - kind.right)
            new = _Way(handled, way.used + a + b, (*way.counts, (a, b)))
            if pair not in found or new.cost < found[pair].cost:
                found[pair] = new
    return found


def _too_many(tried: int) -> MeasurementRefused:
    return MeasurementRefused(
        "too-many-packs",
        f"these shims make {tried} packs to try, limit {MOST_TRIED}; leave out shims that you "
        "would not use, or give a smaller most_mm",
        figure=tried,
        limit=MOST_TRIED,
    )
