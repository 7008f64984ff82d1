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
    """A whitened Jacobian of m readings by p unknowns, ``rank`` combinations of them determined.

    ``basis @ basis.T`` (m, m) projects onto what the readings can say; ``inverse`` (p, m) gives
    changes of the unknowns from whitened misfits, so that ``inverse @ inverse.T`` is their
    covariance; ``null`` (p, d) spans what is not determined, each column of length one in natural
    ``size`` (p,).
    """

    rank: int
    basis: F64
    inverse: F64
    null: F64
    size: F64

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


def factor(jacobian: F64, unknowns: Unknowns, state: F64) -> Factored:
    """Factor a whitened Jacobian of shape (m, p), taken at ``state`` (p,).

    Where nothing but the datum is open, by an orthogonal triangle, which is several times faster
    and on a busy machine a hundred times; else by singular values.
    """
    free, size = unknowns.free, unknowns.size[unknowns.free]
    design = jacobian[:, free] * size
    found = _by_triangle(design, _datum(design, unknowns, state))
    rank, basis, solution, open_ends = found or _by_singular_values(design)
    inverse, null = np.zeros((len(free), len(design))), np.zeros((len(free), open_ends.shape[1]))
    inverse[free], null[free] = size[:, None] * solution, size[:, None] * open_ends
    inverse -= null @ (np.linalg.pinv(null[unknowns.coordinates]) @ inverse[unknowns.coordinates])
    return Factored(rank, basis, inverse, null, unknowns.size)


Parts = tuple[int, F64, F64, F64]
"""Rank, basis, solution and open ends, the last two in natural sizes of the free unknowns."""


def _by_triangle(design: F64, open_ends: F64) -> Parts | None:
    """Factor a design that determines all but ``open_ends``; None where it does not surely."""
    m, n = design.shape
    if m + open_ends.shape[1] < n:
        return None
    scale = float(np.sqrt(np.square(design).sum(axis=0).max(initial=1.0)))
    basis, triangle = np.linalg.qr(np.vstack((design, scale * open_ends.T)))
    diagonal = np.abs(triangle.diagonal())
    if not diagonal.min(initial=1.0) > LEAST_RATIO * diagonal.max(initial=0.0):
        return None
    inverse = np.linalg.inv(triangle)
    # The norm of the inverse is a bound for one over the smallest singular value.
    if not np.linalg.norm(inverse) * max(LEAST_SINGULAR, LEAST_RATIO * scale) < 1.0:
        return None
    return n - open_ends.shape[1], basis[:m], inverse @ basis[:m].T, open_ends


def _by_singular_values(design: F64) -> Parts:
    basis, singular, vt = np.linalg.svd(design, full_matrices=True)
    largest = float(singular[0]) if singular.size else 0.0
    rank = int(np.count_nonzero(singular > max(LEAST_RATIO * largest, LEAST_SINGULAR)))
    basis = basis[:, :rank]
    return rank, basis, (vt[:rank].T / singular[:rank]) @ basis.T, vt[rank:].T


def _datum(design: F64, unknowns: Unknowns, state: F64) -> F64:
    """Return the motions of the whole network that no reading shows, orthonormal, shape (n, d).

    Of shifts, a turn and a change of scale: the combinations that move no fixed station and no
    reading.
    """
    n, size = unknowns.count, unknowns.size
    xy = state[: 2 * n].reshape(n, 2)
    about = xy - xy.mean(axis=0)
    motions = np.zeros((len(state), 4))
    motions[0 : 2 * n : 2, 0] = 1.0
    motions[1 : 2 * n : 2, 1] = 1.0
    motions[: 2 * n, 2] = np.column_stack((-about[:, 1], about[:, 0])).ravel()
    motions[2 * n :, 2] = unknowns.turned_along
    motions[: 2 * n, 3] = about.ravel()
    motions /= size[:, None]
    motions /= np.linalg.norm(motions, axis=0)
    stays = motions[: 2 * n][~unknowns.free[: 2 * n]]
    scale = float(np.abs(design).max(initial=1.0))
    shown = np.vstack((design @ motions[unknowns.free], scale * stays))
    _, singular, vt = np.linalg.svd(shown, full_matrices=True)
    rank = int(np.count_nonzero(singular > LEAST_RATIO * scale * len(design)))
    basis, _ = np.linalg.qr(motions[unknowns.free] @ vt[rank:].T)
    return np.asarray(basis, dtype=np.float64)
