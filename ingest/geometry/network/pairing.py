"""Pairs of readings that settle what a beginning leaves open, found without trying every pair.

A pair settles what is left of a quantity where all three lie in a plane: seen along it, both
readings lie in one line. So each reading is given the angle at which it is seen, in any two
directions across what is left; equal angles stand side by side once they are sorted. What lies
along and what lies aside gives both shares.
"""

from dataclasses import dataclass

import numpy as np

from ingest.geometry.network.beginnings import At, Begun, Offer
from ingest.geometry.network.unknowns import F64

IN_LINE_RAD = 1e-6
"""Readings whose angles differ by less may be in one line; whether they are is worked out later."""

MOST_PAIRS = 300
"""So many are looked into, those of the least shares: a large share carries a reading's noise."""


@dataclass(frozen=True, slots=True)
class Pairs:
    """h pairs of readings, ``one`` and ``other`` (h,), for the beginnings ``whose`` (h,).

    ``shares`` (h, 2) of both.
    """

    whose: At
    one: At
    other: At
    shares: F64

    def only(self, which: At) -> "Pairs":
        """Return some of them."""
        return Pairs(self.whose[which], self.one[which], self.other[which], self.shares[which])


def in_line(offer: Offer, begun: Begun) -> Pairs:
    """Return the pairs that seem to settle what beginnings leave, those of the least shares."""
    left2 = np.square(begun.left).sum(axis=1)
    angle, aside = _looked_at(offer, begun, left2)
    order = np.argsort(angle, axis=1)
    whose, one, other = _neighbours(np.take_along_axis(angle, order, axis=1), order)
    length = np.sqrt(left2[whose])
    p, q = begun.along[whose, one] / length, aside[whose, one]
    r, s = begun.along[whose, other] / length, aside[whose, other]
    area = p * s - r * q
    least = begun.news[whose, one] * offer.least[other], begun.news[whose, other] * offer.least[one]
    able = np.square(area) > np.maximum(*least)
    scale = length[able] / area[able]
    shares = np.column_stack((scale * s[able], -scale * q[able]))
    found = Pairs(whose[able], one[able], other[able], shares)
    if len(found.whose) <= MOST_PAIRS:
        return found
    return found.only(np.argpartition(np.square(shares).sum(axis=1), MOST_PAIRS)[:MOST_PAIRS])


def _looked_at(offer: Offer, begun: Begun, left2: F64) -> tuple[F64, F64]:
    """Return at which angle each reading is seen, within half a turn, and how far it lies aside.

    Shapes (w, c); the angle is NaN where a reading has too little news.
    """
    each = begun.along / left2[:, None]
    seen = begun.seen - each[:, :, None] * (begun.left @ offer.looking)[:, None]
    angle = np.arctan2(seen[..., 1], seen[..., 0])
    aside = np.sqrt(np.maximum(begun.news - begun.along * each, 0.0))
    # Half a turn apart is in one line, to the other side of it.
    behind = angle < 0.0
    aside[behind] *= -1.0
    angle[behind] += np.pi
    angle[begun.news <= offer.least] = np.nan
    return angle, aside


def _neighbours(angle: F64, order: At) -> tuple[At, At, At]:
    """Return all pairs of about the same angle (w, c), sorted by ``order``: whose, one, other."""
    found = [(np.zeros(0, dtype=np.intp),) * 3]
    for apart in range(1, angle.shape[1]):
        whose, at = np.nonzero(angle[:, apart:] - angle[:, :-apart] <= IN_LINE_RAD)
        if not len(whose):
            break
        found.append((whose, order[whose, at], order[whose, at + apart]))
    whose, one, other = (np.concatenate(each) for each in zip(*found, strict=True))
    return whose, one, other
