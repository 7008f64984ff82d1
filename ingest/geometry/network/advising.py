"""Which reading to add: the one that settles what is not determined, or sharpens a result most.

For a candidate with whitened row a: it settles a quantity of gradient g where N'g is along N'a, by
g - s a with s = (g'n)/(a'n); otherwise it lowers the variance by (g'Qa)^2 / (1 + a'Qa), the update
of a covariance by one observation. No adjustment is repeated.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.network.addable import candidates
from ingest.geometry.network.adjusting import Adjusted
from ingest.geometry.network.beginnings import Offer
from ingest.geometry.network.choosing import Sought, fewest
from ingest.geometry.network.observing import observing
from ingest.geometry.network.results import LARGEST_LOOSE, Result
from ingest.geometry.network.stations import Reading
from ingest.geometry.network.unknowns import F64

WORTH_A_SET_UP = 0.8
"""To be preferred to one that the heads can read as they stand, a reading for which they have to be
mounted once more makes the standard uncertainty so much smaller."""


@dataclass(frozen=True, slots=True)
class Advice:
    """Readings to add, and the standard uncertainty that a result would then have (rad or m)."""

    readings: tuple[Reading, ...]
    u: float


@dataclass(frozen=True, slots=True)
class Adviser:
    """Candidates and what each would do: ``rows`` (c, p) whitened, ``moved`` (c, m) = rows K.

    ``price`` (c,) is by what their variances are weighed.
    """

    adjusted: Adjusted
    offered: tuple[Reading, ...]
    rows: F64
    moved: F64
    price: F64

    def settling(self, results: Sequence[Result]) -> dict[str, Advice | None]:
        """Return, for every result that is not determined, the reading that settles it best.

        Where no single one does, as few as together do; None where all together do not.
        """
        lost = [
            (result.quantity.label, result.quantity.form.slope)
            for result in results
            if result.measured is None and result.quantity.form is not None
        ]
        if not lost:
            return {}
        everything = self._offer(np.arange(len(self.offered)))
        standing = np.flatnonzero(self.price == 1.0)
        alone = None if len(standing) == len(self.offered) else self._offer(standing)
        return {label: self._settling(slope, everything, alone) for label, slope in lost}

    def sharpening(self, results: Sequence[Result]) -> Advice | None:
        """Return the reading that lowers the mean variance of the angular results most.

        Its ``u`` is the root of that mean. None where there is nothing to add or to sharpen.
        """
        slopes = [
            result.quantity.form.slope
            for result in results
            if result.measured is not None
            and result.quantity.angular
            and result.quantity.form is not None
        ]
        if not slopes or not self.offered:
            return None
        own = np.array(slopes) @ self.adjusted.factored.inverse
        before = np.einsum("ij,ij->i", own, own)
        within = self._within()
        drop = np.square(self.moved @ own.T) / (1.0 + np.square(self.moved).sum(axis=1))[:, None]
        after = (before - drop).mean(axis=1)
        after[np.logical_not(within)] = math.inf
        best = self._best(after)
        if not after[best] < before.mean() * (1.0 - 1e-3):
            return None
        return Advice((self.offered[best],), math.sqrt(max(float(after[best]), 0.0)))

    def _best(self, variance: F64) -> int:
        """Return the candidate that leaves the least variance (c,), a further set-up weighed in."""
        return int(np.argmin(variance * self.price))

    def _within(self) -> F64:
        """Return which candidates tell only of what is determined already, shape (c,)."""
        loose = self.adjusted.factored.loose(self.rows)
        size = np.abs(self.rows * self.adjusted.factored.size).max(axis=1)
        result: F64 = np.abs(loose).max(axis=1, initial=0.0) <= LARGEST_LOOSE * size
        return result

    def _settling(
        self, slope: F64, everything: "_Within", standing: "_Within | None"
    ) -> Advice | None:
        """Return what settles a quantity: a reading, else as few as can be.

        Readings that need a further set-up only where no others do, or where no more of them
        tell it so much sharper (``WORTH_A_SET_UP``). ``standing`` need none; None: nor does any.
        """
        sought = Sought(
            self.adjusted.factored.loose(slope[None])[0], slope @ self.adjusted.factored.inverse
        )
        most = len(slope)
        if standing is None:
            return everything.settling(sought, most)
        found = standing.settling(sought, most)
        most = most if found is None else len(found.readings)
        further = everything.settling(sought, most)
        if found is None or further is None:
            return found or further
        return further if further.u < WORTH_A_SET_UP * found.u else found

    def _offer(self, which: NDArray[np.intp]) -> "_Within":
        """Return some of the candidates (c,) by what each tells of what is open."""
        factored, rows = self.adjusted.factored, self.rows[which]
        size = np.abs(rows * factored.size)
        return _Within(
            tuple(self.offered[at] for at in which),
            Offer(
                factored.loose(rows),
                self.moved[which],
                np.linalg.norm(size, axis=1),
                self.price[which],
            ),
            size.max(axis=1, initial=0.0),
        )


@dataclass(frozen=True, slots=True)
class _Within:
    """Candidates to choose within, what each tells, and by how much at the most, ``size`` (c,)."""

    readings: tuple[Reading, ...]
    offer: Offer
    size: F64

    def settling(self, sought: Sought, most: int) -> Advice | None:
        """Return what settles a quantity: one of these readings, else ``most`` or fewer."""
        offer, open_ends = self.offer, sought.open_ends
        square = np.square(offer.loose).sum(axis=1)
        able = square > np.square(LARGEST_LOOSE * self.size)
        share = np.where(able, offer.loose @ open_ends / np.where(able, square, 1.0), 0.0)
        left = np.linalg.norm(open_ends - share[:, None] * offer.loose, axis=1)
        able &= left <= 1e-6 * np.linalg.norm(open_ends)
        if able.any():
            rest = sought.line - share[able, None] * offer.moved[able]
            variance = np.square(rest).sum(axis=1) + np.square(share[able])
            best = int(np.argmin(variance * offer.price[able]))
            reading = self.readings[np.flatnonzero(able)[best]]
            return Advice((reading,), math.sqrt(float(variance[best])))
        found = fewest(offer, sought, most)
        if found is None:
            return None
        return Advice(tuple(self.readings[at] for at in found.members), math.sqrt(found.variance))


def adviser(adjusted: Adjusted, usable: Callable[[Reading], bool] | None = None) -> Adviser:
    """Return the adviser on an adjusted or designed network.

    ``usable`` says of a reading whether it can be had, beyond what the network says itself.
    """
    network = adjusted.network
    offered = tuple(each for each in candidates(network) if usable is None or usable(each))
    if not offered:
        none = np.zeros((0, len(adjusted.state)))
        return Adviser(adjusted, (), none, np.zeros((0, len(adjusted.sigma))), np.zeros(0))
    readings = [replace(reading, value=0.0) for reading in offered]
    _, rows = observing(network, adjusted.unknowns, readings).predict(adjusted.state)
    rows /= np.array([reading.sigma for reading in offered])[:, None]
    price = [1.0 if network.allows(each) else WORTH_A_SET_UP**-2 for each in offered]
    return Adviser(
        adjusted, offered, rows, rows @ adjusted.factored.inverse, np.array(price, dtype=np.float64)
    )
