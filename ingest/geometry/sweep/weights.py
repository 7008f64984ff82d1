"""How readings of one position weigh: tilt noise, and steering noise that both tilts share."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.sweep.readings import SweepNoise

F64 = NDArray[np.float64]

OWN_NOISE_DOF = 30
"""With so many degrees of freedom the residuals tell the noise of each channel and how far they
go together; with fewer all readings are taken to be equally noisy, each for itself."""


@dataclass(frozen=True, slots=True)
class Weights:
    """Inverse Cholesky factors of the readings' covariance, position by position.

    ``own`` (c, n) scales each channel; ``shared`` (n,) is what of the scaled first channel leaves
    the second, 0 for one channel.
    """

    own: F64
    shared: F64

    @classmethod
    def equal(cls, channels: int, n: int) -> "Weights":
        """Return weights of one."""
        return cls(np.ones((channels, n)), np.zeros(n))

    @classmethod
    def of(cls, variance: F64, together: F64) -> "Weights":
        """Return the weights of variances (c, n) and, for two channels, covariances (n,)."""
        own = np.empty_like(variance)
        own[0] = 1.0 / np.sqrt(variance[0])
        if len(variance) == 1:
            return cls(own, np.zeros_like(own[0]))
        own[1] = 1.0 / np.sqrt(variance[1] - together**2 / variance[0])
        return cls(own, together * own[0])

    @classmethod
    def of_noise(cls, noise: SweepNoise, by_steer: F64) -> "Weights":
        """Return the weights for known noise; ``by_steer`` (c, n) as ``motion.slopes`` gives it.

        The steering as read stands in for the steering itself: to first order its noise moves
        each tilt by the slope (errors in variables, projected on the tilts).
        """
        variance = noise.tilt_rad**2 + (noise.steer_rad * by_steer) ** 2
        together = noise.steer_rad**2 * by_steer[0] * by_steer[-1]
        return cls.of(variance, together)

    @classmethod
    def of_residuals(cls, residuals: F64, dof: float) -> "Weights":
        """Return the weights that residuals (c, n) tell, over these degrees of freedom."""
        spread = residuals @ residuals.T / dof
        one = np.ones(residuals.shape[1])
        return cls.of(np.outer(spread.diagonal(), one), spread[0, -1] * one)

    def whiten(self, values: F64) -> F64:
        """Return values (c, n, ...) with unit, independent noise, shape (c * n, ...)."""
        extra = (None,) * (values.ndim - 2)
        first: F64 = values[0] * self.own[0][(..., *extra)]
        if len(values) == 1:
            return first
        second = values[1] - self.shared[(..., *extra)] * first
        return np.concatenate([first, second * self.own[1][(..., *extra)]])


def pooled_rad(residuals: F64, dof: int) -> float:
    """Return the standard deviation of a reading from residuals of any shape, rad."""
    return math.sqrt(float(np.square(residuals).sum()) / dof)
