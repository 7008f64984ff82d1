"""The readings of a network, and the zeros of its heads, as one whitened system."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.network.observing import Observing, observing
from ingest.geometry.network.stations import Network, Reading
from ingest.geometry.network.unknowns import F64, Unknowns


@dataclass(frozen=True, slots=True)
class System:
    """The readings in use, whitened, as a function of the unknowns."""

    unknowns: Unknowns
    observing: Observing
    observed: F64
    angular: NDArray[np.bool_]
    sigma: F64
    held: NDArray[np.int64]
    """Places of the zeros that are held."""
    mixing: F64 | None = None
    """Of readings that err together: what makes the rows over their sigmas independent."""

    def misfit(self, state: F64) -> tuple[F64, F64]:
        """Return whitened computed minus observed, and its Jacobian."""
        told, jacobian = self.observing.predict(state)
        off = told - self.observed
        off[self.angular] = np.remainder(off[self.angular] + math.pi, math.tau) - math.pi
        zeros = np.zeros((len(self.held), len(state)))
        zeros[np.arange(len(self.held)), self.held] = 1.0
        every = np.concatenate((off, state[self.held]))
        whitened, slopes = every / self.sigma, np.vstack((jacobian, zeros)) / self.sigma[:, None]
        if self.mixing is None:
            return whitened, slopes
        return self.mixing @ whitened, self.mixing @ slopes


def system_of(network: Network, unknowns: Unknowns, readings: Sequence[Reading]) -> System:
    """Return the whitened system of readings, all of which have a value."""
    held = [i for i, each in enumerate(unknowns.mounted) if each.sigma is not None]
    sigmas = [unknowns.mounted[i].sigma or 0.0 for i in held]
    return System(
        unknowns,
        observing(network, unknowns, readings),
        np.array([reading.value for reading in readings], dtype=np.float64),
        np.array([reading.is_angular for reading in readings]),
        np.array([*(reading.sigma for reading in readings), *sigmas]),
        3 * unknowns.count + np.array(held, dtype=np.int64),
    )
