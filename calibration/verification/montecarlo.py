"""The same budget by propagation of distributions (JCGM 101:2008), adaptive and seeded."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.verification.budget import Budget
from calibration.verification.distributions import Distribution, draw

F64 = NDArray[np.float64]

BLOCK = 10_000
"""Trials of one block (7.9.4: enough that the tails of a 95 % interval hold 250 each)."""
MOST_BLOCKS = 100
PROBABILITY = 0.95
FEWEST_DOF = 3.0
"""A t variable of fewer degrees of freedom has no standard deviation (6.4.9.4)."""


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """What the trials gave; ``low`` .. ``high`` leaves out equal tails (7.7.2).

    ``settled``: another run would agree within the numerical tolerance of two digits of u.
    ``agrees``: the GUM's interval has the same ends within that tolerance (clause 8.1) and what
    the trials leave open.
    """

    trials: int
    seed: int
    value: float
    u: float
    low: float
    high: float
    probability: float
    settled: bool
    agrees: bool


def tolerance(u: float, digits: int) -> float:
    """Return half a unit of the last of ``digits`` significant digits of u (7.9.2)."""
    return 0.0 if u == 0 else 0.5 * 10.0 ** (math.floor(math.log10(u)) - digits + 1)


def propagate_distributions(
    budget: Budget, *, seed: int, probability: float = PROBABILITY
) -> MonteCarlo | None:
    """Draw blocks until value, u and both ends of the interval have settled (7.9.4).

    Two significant digits of u are asked for, and a million trials made at most. None where an
    input has too few degrees of freedom for a standard uncertainty to come out of draws.
    """
    thin = (Distribution.NORMAL, Distribution.T)
    inputs = [line.input for line in budget.lines]
    if any(i.u and i.dof < FEWEST_DOF and i.distribution in thin for i in inputs):
        return None
    rng = np.random.default_rng(seed)
    tails = np.array([(1.0 - probability) / 2.0, (1.0 + probability) / 2.0])
    draws: list[F64] = []
    blocks: list[F64] = []
    settled = False
    while not settled and len(draws) < MOST_BLOCKS:
        draws.append(_trials(budget, rng))
        blocks.append(_summary(draws[-1], tails))
        settled = len(blocks) > 1 and bool((_doubt(blocks) <= _limit(blocks)).all())
    value, u, low, high = _summary(np.concatenate(draws), tails).tolist()
    return MonteCarlo(
        trials=len(draws) * BLOCK,
        seed=seed,
        value=value,
        u=u,
        low=low,
        high=high,
        probability=probability,
        settled=settled,
        agrees=_agrees(budget, blocks, (low, high), probability),
    )


def _trials(budget: Budget, rng: np.random.Generator) -> F64:
    inputs = [line.input for line in budget.lines]
    rows = [i.estimate + draw(rng, i.distribution, i.u, i.dof, BLOCK) for i in inputs]
    return np.asarray(budget.model(np.stack(rows)), dtype=np.float64)


def _summary(trials: F64, tails: F64) -> F64:
    """Return value, u and the ends of the interval, shape (4,)."""
    return np.concatenate([[trials.mean(), trials.std(ddof=1)], np.quantile(trials, tails)])


def _doubt(blocks: list[F64]) -> F64:
    """Return twice the standard deviation of the averages over blocks, shape (4,)."""
    result: F64 = 2.0 * np.std(blocks, axis=0, ddof=1) / math.sqrt(len(blocks))
    return result


def _limit(blocks: list[F64]) -> float:
    return tolerance(float(np.mean(blocks, axis=0)[1]), 2)


def _agrees(
    budget: Budget, blocks: list[F64], ends: tuple[float, float], probability: float
) -> bool:
    allowed = tolerance(budget.u, 2) + _doubt(blocks)[2:]
    apart = np.abs(np.subtract(budget.interval(probability), ends))
    return bool((apart <= allowed).all())
