"""Least squares where the readings do not determine everything: rank, datum and covariance.

For whitened readings l = A x: singular values of A, in natural sizes of the unknowns, tell what is
determined. What is not spans the null space N; the solution is the one whose coordinates change
least (inner constraints), by the S-transformation x - N (E N)^+ E x of any other, E picking the
coordinates (Baarda 1973; Koch, Parameter Estimation and Hypothesis Testing, 3.3: from memory).
"""

from dataclasses import dataclass

import numpy as np

from ingest.geometry.network.unknowns import F64, Unknowns

LEAST_RATIO = 1e-10
"""Of a singular value to the largest: below, it is rounding."""

LEAST_SINGULAR = 5.0
"""A direction known no better than to 1/5 of the network's extent, or 1/5 rad, counts as not
determined: the linear law of uncertainty would not hold for it."""


HARDLY = 1e-4
"""Weight of angles in the datum of a step: coordinates hold it, wherever they can."""


@dataclass(frozen=True, slots=True)
class Factored:
    """A whitened Jacobian of m readings by p unknowns of which r combinations are determined.

    ``basis`` (m, r) is orthonormal and spans what the readings can say; ``inverse`` (p, m) gives
    changes of the unknowns from whitened misfits, so that ``inverse @ inverse.T`` is their
    covariance; ``null`` (p, d) spans what is not determined, in natural sizes.
    """

    basis: F64
    inverse: F64
    null: F64
    size: F64

    @property
    def rank(self) -> int:
        """Number of combinations that are determined."""
        return int(self.basis.shape[1])

    def loose(self, gradients: F64) -> F64:
        """Return by how much quantities change along what is not determined, shape (q, d).

        ``gradients`` (q, p) are those of the quantities.
        """
        result: F64 = gradients @ self.null
        return result


def step(jacobian: F64, misfit: F64, unknowns: Unknowns, near: Factored) -> F64:
    """Return the Gauss-Newton step, shape (p,), in the datum of a factoring nearby.

    By normal equations: a tenth of the work of factoring, and what they lose in digits the next
    step makes good.

    Raises:
        numpy.linalg.LinAlgError: what is determined here was not there, or the reverse.
    """
    free, size = unknowns.free, unknowns.size[unknowns.free]
    design = jacobian[:, free] * size
    held = near.null / unknowns.size[:, None]
    held[unknowns.coordinates.stop :] *= HARDLY
    held = held[free]
    normal = design.T @ design
    normal += float(normal.diagonal().mean()) * (held @ held.T)
    result = np.zeros(len(free))
    result[free] = size * np.linalg.solve(normal, -(design.T @ misfit))
    return result


def factor(jacobian: F64, unknowns: Unknowns) -> Factored:
    """Factor a whitened Jacobian of shape (m, p)."""
    free = unknowns.free
    size = unknowns.size[free]
    basis, singular, vt = np.linalg.svd(jacobian[:, free] * size, full_matrices=True)
    largest = float(singular[0]) if singular.size else 0.0
    rank = int(np.count_nonzero(singular > max(LEAST_RATIO * largest, LEAST_SINGULAR)))
    basis = basis[:, :rank]
    inverse = np.zeros((len(free), len(jacobian)))
    inverse[free] = size[:, None] * ((vt[:rank].T / singular[:rank]) @ basis.T)
    null = np.zeros((len(free), int(free.sum()) - rank))
    null[free] = size[:, None] * vt[rank:].T
    inverse -= null @ (np.linalg.pinv(null[unknowns.coordinates]) @ inverse[unknowns.coordinates])
    return Factored(basis, inverse, null, unknowns.size)
