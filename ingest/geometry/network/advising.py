"""Which reading to add: the one that settles what is not determined, or sharpens a result most.

For a candidate with whitened row a: it settles a quantity of gradient g where N'g is along N'a, by
g - s a with s = (g'n)/(a'n); otherwise it lowers the variance by (g'Qa)^2 / (1 + a'Qa), the update
of a covariance by one observation. No adjustment is repeated.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.core.units import DEG
from ingest.geometry.network.adjusting import Adjusted
from ingest.geometry.network.choosing import Offer, fewest
from ingest.geometry.network.observing import observing
from ingest.geometry.network.results import LARGEST_LOOSE, Result
from ingest.geometry.network.stations import Kind, Line, Network, Reading, Station
from ingest.geometry.network.unknowns import F64

USUAL_SIGMA_RAD = 0.01 * DEG
USUAL_SIGMA_M = 0.005
"""Of an added reading, where the file has none of its kind; a tape's is common practice."""


WORTH_A_SET_UP = 0.8
"""To be preferred to one that the heads can read as they stand, a reading for which they have to be
mounted once more makes the standard uncertainty so much smaller."""


@dataclass(frozen=True, slots=True)
class Advice:
    """Readings to add, and the standard uncertainty that a result would then have (rad or m)."""

    readings: tuple[Reading, ...]
    u: float


def candidates(network: Network) -> tuple[Reading, ...]:
    """Return the directions and distances that could be read and are not.

    Blocked pairs have no direction; a tape is taken to reach wherever stations are. A direction is
    of each set-up with a head at both its ends; where there is none (``Network.allows``), it is of
    a further one, into which heads stay that the last has.
    """
    have = {
        (reading.kind, reading.line.at, reading.line.to)
        for reading in network.readings
        if reading.used
    }
    have |= {(Kind.DISTANCE, to, at) for kind, at, to in have if kind is Kind.DISTANCE}
    return tuple(
        reading
        for reading in _possible(network)
        if (reading.kind, reading.line.at, reading.line.to) not in have
    )


def _possible(network: Network) -> Iterator[Reading]:
    sigma_rad = _middle_sigma(network, Kind.DIRECTION, USUAL_SIGMA_RAD)
    sigma_m = _middle_sigma(network, Kind.DISTANCE, USUAL_SIGMA_M)
    states = network.states()
    heads = {state: network.heads(state) for state in states}
    for i, one in enumerate(network.stations):
        for j, other in enumerate(network.stations):
            if one is other or _together(one, other):
                continue
            line = Line(one.id, other.id)
            if one.is_wheel and network.sees(one.id, other.id):
                needed = {each.id for each in (one, other) if each.is_wheel}
                allowed = [state for state in states if needed <= heads[state]]
                for state in allowed or states[-1:]:
                    yield Reading(Kind.DIRECTION, line, sigma_rad, setup=state)
            if i < j and not (one.fixed and other.fixed):
                yield Reading(Kind.DISTANCE, line, sigma_m)


def where(network: Network, reading: Reading) -> str:
    """Return in which set-up a reading can be had, in words to follow it; nothing for a tape."""
    if not reading.is_angular:
        return ""
    if network.allows(reading):
        return f" in set-up {reading.setup}" if reading.setup else ""
    ends = [end for end in (reading.line.at, reading.line.to) if network.station(end).is_wheel]
    given = "" if len(network.setups) == 0 else ", as no set-up here has them"
    return f" in a further set-up, with heads on {' and '.join(ends)}{given}"


def _together(one: Station, other: Station) -> bool:
    return math.hypot(one.x_m - other.x_m, one.y_m - other.y_m) < 1e-3


def _middle_sigma(network: Network, kind: Kind, usual: float) -> float:
    sigmas = sorted(reading.sigma for reading in network.readings if reading.kind is kind)
    return sigmas[len(sigmas) // 2] if sigmas else usual


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
        return {
            result.quantity.label: self._settling(result.quantity.form.slope)
            for result in results
            if result.measured is None and result.quantity.form is not None
        }

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

    def _settling(self, slope: F64) -> Advice | None:
        """Return what settles a quantity: a reading, else as few as can be.

        Readings that need a further set-up only where no others do, or where no more of them
        tell it so much sharper (``WORTH_A_SET_UP``).
        """
        standing = np.flatnonzero(self.price == 1.0)
        most = len(slope)
        found = self._settling_of(slope, standing, most)
        if len(standing) == len(self.offered):
            return found
        most = most if found is None else len(found.readings)
        further = self._settling_of(slope, np.arange(len(self.offered)), most)
        if found is None or further is None:
            return found or further
        return further if further.u < WORTH_A_SET_UP * found.u else found

    def _settling_of(self, slope: F64, which: NDArray[np.intp], most: int) -> Advice | None:
        """Return what settles a quantity, of ``which`` (c,) is offered, by ``most`` or fewer."""
        factored, rows, moved = self.adjusted.factored, self.rows[which], self.moved[which]
        open_ends = factored.loose(slope[None])[0]
        line = slope @ factored.inverse
        loose = factored.loose(rows)
        square = np.square(loose).sum(axis=1)
        able = square > LARGEST_LOOSE**2 * np.square(rows * factored.size).max(axis=1, initial=0.0)
        share = np.where(able, loose @ open_ends / np.where(able, square, 1.0), 0.0)
        left = np.linalg.norm(open_ends - share[:, None] * loose, axis=1)
        able &= left <= 1e-6 * np.linalg.norm(open_ends)
        if able.any():
            rest = line - share[:, None] * moved
            variance = np.where(able, np.square(rest).sum(axis=1) + np.square(share), math.inf)
            best = int(np.argmin(variance * self.price[which]))
            return Advice((self.offered[which[best]],), math.sqrt(float(variance[best])))
        whole = np.linalg.norm(rows * factored.size, axis=1)
        found = fewest(Offer(loose, moved, whole, self.price[which]), open_ends, line, most)
        if found is None:
            return None
        readings = tuple(self.offered[which[at]] for at in found.members)
        return Advice(readings, math.sqrt(found.variance))


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
