"""The fewest readings that settle a quantity together, of them those that tell it sharpest.

A quantity of open ends b (what of its gradient nothing tells, along the null space) is settled by
readings whose own open ends a_i span b: b = sum s_i a_i. As long as the a_i are independent, the
shares s_i are the only ones, and its variance is |l - sum s_i m_i|^2 + sum s_i^2 (see
``advising``). The last two of a set are found by trying every pair, by its two by two normal
equations; what comes before them by a search as wide as the time allows.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.network.unknowns import F64

At = NDArray[np.intp]

LEAST_NEWS = 0.03
"""Of a reading: with a smaller share that nothing else tells it settles nothing in earnest."""

SETTLED = 1e-6
"""Of the open ends: what may be left of them, as rounding."""

PAIRS_TRIED = 200_000
WIDEST = 24
"""So many pairs are tried at each size, from so many beginnings at the most."""

LOOKED_INTO = 16
"""The sharpest pairs of a beginning that are worked out anew: sums of squares lose digits."""


@dataclass(frozen=True, slots=True)
class Offer:
    """What c readings would tell: open ``loose`` ends (c, d), ``moved`` (c, m), the size ``whole``
    (c,) of all that each tells, and the ``price`` (c,) by which its variance is weighed."""

    loose: F64
    moved: F64
    whole: F64
    price: F64


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which readings, and the variance that the quantity has by them."""

    members: tuple[int, ...]
    variance: float
    weighed: float


def fewest(offer: Offer, open_ends: F64, line: F64, most: int) -> Chosen | None:
    """Return two to ``most`` readings that settle a quantity; None where none do.

    Args:
        offer: what there is to choose from.
        open_ends: of the quantity, shape (d,).
        line: what it takes from the readings that there are, shape (m,).
        most: how many readings are not too many.
    """
    width = max(1, min(WIDEST, PAIRS_TRIED // max(1, len(offer.whole) ** 2)))
    begun: list[tuple[int, ...]] = [()]
    everything = np.linalg.lstsq(offer.loose.T, open_ends, rcond=None)[0] @ offer.loose
    if np.linalg.norm(open_ends - everything) > SETTLED * np.linalg.norm(open_ends):
        return None
    for _ in range(2, min(most, len(open_ends)) + 1):
        found = [each for b in begun for each in _ended(offer, open_ends, line, b)]
        if found:
            # One that has no share after all leaves a smaller set.
            return min(found, key=lambda each: (len(each.members), each.weighed))
        begun = _longer(offer, open_ends, begun, width)
    return None


def _rest(offer: Offer, open_ends: F64, begun: Sequence[int]) -> tuple[F64, F64]:
    """Return what a beginning leaves open of the quantity (d,) and of every reading (c, d)."""
    span, _ = np.linalg.qr(offer.loose[list(begun)].T)
    left = open_ends - span @ (span.T @ open_ends)
    return left, offer.loose - (offer.loose @ span) @ span.T


def _longer(
    offer: Offer, open_ends: F64, begun: Sequence[tuple[int, ...]], width: int
) -> list[tuple[int, ...]]:
    """Return the beginnings with one more reading that leave the least open."""
    least: dict[tuple[int, ...], float] = {}
    for one in begun:
        left, across = _rest(offer, open_ends, one)
        news = np.linalg.norm(across, axis=1)
        fit = news > LEAST_NEWS * offer.whole
        along = np.where(fit, np.abs(across @ left) / np.where(fit, news, 1.0), 0.0)
        open_still = float(left @ left) - np.square(along)
        for at in np.argsort(open_still, kind="stable")[:width]:
            if along[at] > 0.0:
                least[tuple(sorted((*one, int(at))))] = float(open_still[at])
    return sorted(least, key=lambda each: least[each])[:width]


def _ended(offer: Offer, open_ends: F64, line: F64, begun: tuple[int, ...]) -> Iterator[Chosen]:
    """Yield the sharpest sets that a beginning and a pair of readings make."""
    left, across = _rest(offer, open_ends, begun)
    gram = across @ across.T
    square, told = gram.diagonal(), across @ left
    area = np.outer(square, square) - np.square(gram)
    least = np.outer(square, np.square(LEAST_NEWS * offer.whole))
    fit = np.triu(area > np.maximum(least, least.T), 1)
    one, other = np.nonzero(fit)
    area = area[one, other]
    cross = gram[one, other]
    first = (square[other] * told[one] - cross * told[other]) / area
    second = (square[one] * told[other] - cross * told[one]) / area
    still = left @ left - first * told[one] - second * told[other]
    able = still <= 1e-8 * float(open_ends @ open_ends)
    one, other, first, second = one[able], other[able], first[able], second[able]
    if not one.size:
        return
    rank = _rank(offer, open_ends, line, begun, (one, other, first, second))
    for at in np.argsort(rank, kind="stable")[:LOOKED_INTO]:
        found = _worked_out(offer, open_ends, line, (*begun, int(one[at]), int(other[at])))
        if found is not None:
            yield found


def _rank(
    offer: Offer,
    open_ends: F64,
    line: F64,
    begun: tuple[int, ...],
    pairs: tuple[At, At, F64, F64],
) -> F64:
    """Return the variance of each pair with its shares, weighed, from sums of squares."""
    one, other, first, second = pairs
    held = offer.moved[list(begun)]
    shares = np.linalg.pinv(offer.loose[list(begun)].T)
    own = shares @ open_ends
    start = np.concatenate((line - own @ held, own))
    by = offer.loose @ shares.T
    each = np.hstack((offer.moved - by @ held, by))
    gram = each @ each.T + np.eye(len(each))
    along = each @ start
    variance = start @ start - 2.0 * (first * along[one] + second * along[other])
    variance += np.square(first) * gram[one, one] + np.square(second) * gram[other, other]
    variance += 2.0 * first * second * gram[one, other]
    result: F64 = variance * np.maximum(offer.price[one], offer.price[other])
    return result


def _worked_out(offer: Offer, open_ends: F64, line: F64, members: tuple[int, ...]) -> Chosen | None:
    """Return a set without the members that have no share; None where it does not settle."""
    loose = offer.loose[list(members)]
    share = np.linalg.lstsq(loose.T, open_ends, rcond=None)[0]
    size = np.linalg.norm(open_ends)
    needed = np.abs(share) * np.linalg.norm(loose, axis=1) > SETTLED * size
    members = tuple(m for m, there in zip(members, needed, strict=True) if there)
    share, loose = share[needed], loose[needed]
    if np.linalg.norm(open_ends - share @ loose) > SETTLED * size:
        return None
    rest = line - share @ offer.moved[list(members)]
    variance = float(rest @ rest + share @ share)
    return Chosen(members, variance, variance * float(offer.price[list(members)].max()))
