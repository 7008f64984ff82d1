"""The fewest readings that settle a quantity together, of them those that tell it sharpest.

A quantity of open ends b (what of its gradient nothing tells, along the null space) is settled by
readings whose own open ends a_i span b: b = sum s_i a_i. As long as the a_i are independent, the
shares s_i are the only ones, and its variance is |l - sum s_i m_i|^2 + sum s_i^2 (see
``advising``). The last two of a set are found among all pairs (see ``pairing``); what comes before
them by a search as wide as the time allows.
"""

from dataclasses import dataclass

import numpy as np

from ingest.geometry.network.beginnings import At, Begun, Offer, longer, nothing, without_two
from ingest.geometry.network.pairing import Pairs, in_line
from ingest.geometry.network.unknowns import F64

EXCHANGES = 2
"""So often two readings of a set are exchanged for two others."""

SETTLED = 1e-6
"""Of the open ends: what may be left of them, as rounding."""

NEARLY_SETTLED = 1e-4
"""The same, before a set is worked out anew."""

TRIED = 2_500
WIDEST = 64
"""So many readings are tried at each size, over so many beginnings at the most."""

LOOKED_INTO = 4
"""The sharpest sets of a size that are worked out anew: shares that were updated lose digits."""


@dataclass(frozen=True, slots=True)
class Sought:
    """A quantity: its ``open_ends`` (d,), and what it takes from the readings there are, ``line``
    (m,)."""

    open_ends: F64
    line: F64


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which readings, and the variance that the quantity has by them."""

    members: tuple[int, ...]
    variance: float
    weighed: float

    def merit(self) -> tuple[int, float]:
        """Return what is the less, the better: one that has no share leaves a smaller set."""
        return len(self.members), self.weighed


def fewest(offer: Offer, sought: Sought, most: int) -> Chosen | None:
    """Return two to ``most`` readings on offer that settle a quantity; None where none do."""
    open_ends = sought.open_ends
    beyond = open_ends - offer.reach @ (offer.reach.T @ open_ends)
    if np.linalg.norm(beyond) > SETTLED * np.linalg.norm(open_ends):
        return None
    width = max(1, min(WIDEST, TRIED // max(1, len(offer.whole))))
    begun = nothing(offer, open_ends)
    for _ in range(2, min(most, len(open_ends)) + 1):
        found = _ended(offer, sought, begun)
        if found:
            return _exchanged(offer, sought, found)
        begun = longer(offer, begun, width)
    return None


def _exchanged(offer: Offer, sought: Sought, found: list[Chosen]) -> Chosen:
    """Return the best set that comes of exchanging any two readings while that makes it better."""
    best = min(found, key=Chosen.merit)
    for _ in range(EXCHANGES):
        if len(best.members) < 3:
            break
        around = without_two(offer, sought.open_ends, best.members)
        better = min([best, *_ended(offer, sought, around)], key=Chosen.merit)
        if not better.merit() < best.merit():
            break
        best = better
    return best


def _ended(offer: Offer, sought: Sought, begun: Begun) -> list[Chosen]:
    """Return the sharpest sets that the beginnings and a pair of readings each make."""
    pairs = in_line(offer, begun)
    members, count, rank = _settling(offer, sought, begun, pairs)
    best = np.lexsort((rank, count))[:LOOKED_INTO]
    found = [_worked_out(offer, sought, members[at]) for at in best]
    return [each for each in found if each is not None]


def _settling(offer: Offer, sought: Sought, begun: Begun, pairs: Pairs) -> tuple[At, At, F64]:
    """Return the sets that settle, how many readings each needs, and its variance, weighed.

    Shapes (h, k), (h,) and (h,).
    """
    members = np.column_stack((begun.members[pairs.whose], pairs.one, pairs.other))
    loose = offer.loose[members]
    rest = sought.open_ends - np.einsum("hk,hkd->hd", pairs.shares, loose[:, -2:])
    own = np.einsum("hkd,hd->hk", begun.dual[pairs.whose], rest)
    still = rest - np.einsum("hk,hkd->hd", own, loose[:, :-2])
    size2 = float(sought.open_ends @ sought.open_ends)
    able = np.square(still).sum(axis=1) <= NEARLY_SETTLED**2 * size2
    members, loose, share = members[able], loose[able], np.hstack((own, pairs.shares))[able]
    needed = np.square(share) * np.square(loose).sum(axis=2) > SETTLED**2 * size2
    told = sought.line - np.einsum("hk,hkm->hm", share, offer.moved[members])
    variance = np.square(told).sum(axis=1) + np.square(share).sum(axis=1)
    return members, needed.sum(axis=1), variance * offer.price[members].max(axis=1, initial=1.0)


def _worked_out(offer: Offer, sought: Sought, members: At) -> Chosen | None:
    """Return a set without the members that have no share; None where it does not settle."""
    loose, size = offer.loose[members], np.linalg.norm(sought.open_ends)
    share = np.linalg.lstsq(loose.T, sought.open_ends, rcond=None)[0]
    needed = np.abs(share) * np.linalg.norm(loose, axis=1) > SETTLED * size
    members, share = members[needed], share[needed]
    if np.linalg.norm(sought.open_ends - share @ offer.loose[members]) > SETTLED * size:
        return None
    rest = sought.line - share @ offer.moved[members]
    variance = float(rest @ rest + share @ share)
    weighed = variance * float(offer.price[members].max())
    return Chosen(tuple(members.tolist()), variance, weighed)
