"""Sets of readings begun, and what they leave open: grown by one reading at a time, many at once.

A reading's open ends are the vector of what of it nothing tells yet. What a new member tells is
taken off all others by an update of rank one, of their lengths and products alone.
"""

from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.network.unknowns import F64

At = NDArray[np.intp]

LEAST_NEWS = 0.03
"""Of a reading: with a smaller share that nothing else tells it settles nothing in earnest."""


@dataclass(frozen=True, slots=True)
class Offer:
    """What c readings would tell: open ``loose`` ends (c, d), ``moved`` (c, m), the size ``whole``
    (c,) of all that each tells, and the ``price`` (c,) by which its variance is weighed.

    ``reach`` (d, r) spans all open ends that they tell of; ``least`` (c,) is the square that the
    news of each has to exceed; ``looking`` (d, 2) are two directions that nothing hangs on.
    """

    loose: F64
    moved: F64
    whole: F64
    price: F64
    reach: F64 = field(init=False)
    least: F64 = field(init=False)
    looking: F64 = field(init=False)

    def __post_init__(self) -> None:
        d = self.loose.shape[1]
        _, size, across = np.linalg.svd(self.loose, full_matrices=False)
        object.__setattr__(self, "reach", across[size > 1e-10 * size.max(initial=0.0)].T)
        object.__setattr__(self, "least", np.square(LEAST_NEWS * self.whole))
        turns = np.outer(np.arange(1, d + 1) ** 2, np.sqrt([2.0, 3.0]))
        object.__setattr__(self, "looking", np.cos(2.0 * np.pi * turns))


@dataclass(frozen=True, slots=True)
class Begun:
    """w beginnings of k readings each: ``members`` (w, k).

    ``span`` (w, k, d) is an orthonormal base of them; products with ``dual`` (w, k, d) are the
    shares of what lies in it. What they leave of the quantity is ``left`` (w, d); of every reading,
    its square ``news`` (w, c), its product with that ``along`` (w, c), and how it shows in two
    directions, ``seen`` (w, c, 2).
    """

    members: At
    span: F64
    dual: F64
    left: F64
    news: F64
    along: F64
    seen: F64


def nothing(offer: Offer, open_ends: F64) -> Begun:
    """Return the one beginning that has no readings, for a quantity of these open ends (d,)."""
    none = np.zeros((1, 0, len(open_ends)))
    return Begun(
        members=np.zeros((1, 0), dtype=np.intp),
        span=none,
        dual=none,
        left=open_ends[None],
        news=np.square(offer.loose).sum(axis=1)[None],
        along=(offer.loose @ open_ends)[None],
        seen=(offer.loose @ offer.looking)[None],
    )


def without_two(offer: Offer, open_ends: F64, members: tuple[int, ...]) -> Begun:
    """Return the beginnings that are left of a set of two or more when any two are taken away."""
    kept = np.array(list(combinations(members, len(members) - 2)), dtype=np.intp)
    new = offer.loose[kept]
    span = np.swapaxes(np.linalg.qr(np.swapaxes(new, 1, 2))[0], 1, 2)
    left = _across(np.tile(open_ends, (len(kept), 1)), span)
    by = span @ offer.loose.T
    return Begun(
        members=kept,
        span=span,
        dual=np.swapaxes(np.linalg.pinv(new), 1, 2),
        left=left,
        news=np.square(offer.loose).sum(axis=1) - np.square(by).sum(axis=1),
        along=left @ offer.loose.T,
        seen=offer.loose @ offer.looking - np.swapaxes(by, 1, 2) @ (span @ offer.looking),
    )


def longer(offer: Offer, begun: Begun, width: int) -> Begun:
    """Return the ``width`` beginnings with one more reading that leave the least open."""
    told = np.square(begun.along) / np.where(begun.news > offer.least, begun.news, np.inf)
    open_still = np.square(begun.left).sum(axis=1)[:, None] - told
    open_still[told <= 0.0] = np.inf
    # Each set may have been come to by as many ways as it has members.
    some = min(open_still.size, width * (2 + begun.members.shape[1]))
    near = np.argpartition(open_still, some - 1, axis=None)[:some]
    chosen: dict[tuple[int, ...], tuple[int, int]] = {}
    for flat in near[np.argsort(open_still.flat[near], kind="stable")].tolist():
        whose, at = divmod(flat, open_still.shape[1])
        if len(chosen) == width or open_still[whose, at] == np.inf:
            break
        chosen.setdefault(tuple(sorted((*begun.members[whose].tolist(), at))), (whose, at))
    pairs = np.array(list(chosen.values()), dtype=np.intp).reshape(-1, 2)
    return _with(offer, begun, pairs[:, 0], pairs[:, 1])


def _with(offer: Offer, begun: Begun, whose: At, at: At) -> Begun:
    """Return the beginnings ``whose`` (w,) with the readings ``at`` (w,) added."""
    new, span, dual = offer.loose[at], begun.span[whose], begun.dual[whose]
    told = _across(new, span)
    size = np.linalg.norm(told, axis=1)[:, None]
    told /= size
    own = np.concatenate((-np.einsum("wkd,wd->wk", dual, new), np.ones_like(size)), axis=1)
    own = own[:, :, None] * (told / size)[:, None]
    own[:, :-1] += dual
    by = told @ offer.loose.T
    share = np.einsum("wd,wd->w", told, begun.left[whose])[:, None]
    return Begun(
        members=np.hstack((begun.members[whose], at[:, None])),
        span=np.concatenate((span, told[:, None]), axis=1),
        dual=own,
        left=begun.left[whose] - share * told,
        news=begun.news[whose] - np.square(by),
        along=begun.along[whose] - share * by,
        seen=begun.seen[whose] - by[:, :, None] * (told @ offer.looking)[:, None],
    )


def _across(vectors: F64, span: F64) -> F64:
    """Return what of vectors (w, d) is across orthonormal spans (w, k, d)."""
    # Once more makes good the digits that the first time loses.
    for _ in range(2):
        vectors = vectors - np.einsum("wk,wkd->wd", np.einsum("wd,wkd->wk", vectors, span), span)
    return vectors
