"""An uncertainty budget, line by line, through any model (JCGM 100:2008, clauses 5 and 8)."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, Part, Source
from calibration.reporting import coverage_factor, t_factor
from calibration.verification.distributions import DIVISORS, Distribution

F64 = NDArray[np.float64]
Model = Callable[[NDArray[Any]], NDArray[Any]]
"""Takes inputs of shape (n, m), in the order of the budget, and returns results (m,).

It must be analytic (no abs, no conjugate): derivatives are taken with an imaginary step."""

STEP = 1e-30
"""Imaginary step of the derivative, in standard uncertainties: its square vanishes."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input: its estimate and standard uncertainty in its own unit, named in ``source``.

    ``divisor`` is what the stated half width or expanded uncertainty was divided by. Inputs of
    the same ``source`` in two budgets are the same effect where ``direction`` is the same; it
    is a unit vector over what the source consists of (readings, positions), and the inputs
    are as correlated as their directions are parallel.
    """

    source: str
    estimate: float
    u: float
    distribution: Distribution = Distribution.NORMAL
    divisor: float = 1.0
    dof: float = math.inf
    direction: tuple[float, ...] = (1.0,)

    @classmethod
    def limits(
        cls,
        source: str,
        estimate: float,
        half_width: float,
        distribution: Distribution = Distribution.RECTANGULAR,
        dof: float = math.inf,
    ) -> Self:
        """Return an input known to lie within ``half_width`` of its estimate (GUM 4.3.7)."""
        divisor = DIVISORS[distribution]
        return cls(source, estimate, half_width / divisor, distribution, divisor, dof)

    @classmethod
    def certificate(
        cls, source: str, estimate: float, expanded: float, k: float, dof: float = math.inf
    ) -> Self:
        """Return an input as a certificate states it, with U and k (GUM 4.3.3)."""
        return cls(source, estimate, expanded / k, Distribution.NORMAL, k, dof)

    @classmethod
    def readings(cls, source: str, estimate: float, u: float, dof: float) -> Self:
        """Return an input evaluated from readings: ``u`` is that of the estimate (GUM 4.2)."""
        return cls(source, estimate, u, Distribution.T, 1.0, dof)


@dataclass(frozen=True, slots=True)
class Line:
    """An input and what it does to the result: ``contribution`` is |sensitivity| u."""

    input: Input
    sensitivity: float

    @property
    def contribution(self) -> float:
        """Standard uncertainty of the result from this input alone."""
        return abs(self.sensitivity) * self.input.u

    @property
    def part(self) -> Part:
        """The same with its sign, as part of a measured value."""
        source = Source(self.input.source, self.input.dof, shared=True)
        size = self.sensitivity * self.input.u
        return Part(source, tuple(size * share for share in self.input.direction))


@dataclass(frozen=True, slots=True)
class Budget:
    """A result, the lines of its uncertainty and the model that gave it.

    ``measured`` is the result with its uncertainty by source; budgets that share sources
    correlate. Effective degrees of freedom are Welch and Satterthwaite's (GUM G.4.1).
    """

    measured: Measured
    lines: tuple[Line, ...]
    model: Model

    @property
    def value(self) -> float:
        """The result."""
        return self.measured.value

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return self.measured.u

    @property
    def dof(self) -> float:
        """Effective degrees of freedom."""
        return self.measured.dof

    @property
    def k(self) -> float:
        """Coverage factor: 2, or the t factor at 95.45 % below 50 degrees of freedom."""
        return coverage_factor(self.dof)

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u."""
        return self.k * self.u

    def interval(self, probability: float) -> tuple[float, float]:
        """Return the interval of the GUM for a coverage probability (t factor, G.6.4)."""
        reach = t_factor(probability, self.dof) * self.u
        return self.value - reach, self.value + reach


def evaluate(inputs: Sequence[Input], model: Model) -> Budget:
    """Return the budget of ``model`` at the estimates: first-order law, GUM 5.1.2.

    Raises:
        ValueError: two inputs have one name and direction, or the result is not finite.
    """
    if len({(i.source, i.direction) for i in inputs}) != len(inputs):
        raise ValueError("two inputs of a budget have one name")
    at = np.array([i.estimate for i in inputs])
    value = float(np.real(model(at.astype(complex)[:, None]))[0])
    steps = np.array([STEP * (i.u or 1.0) for i in inputs])
    moved = at[:, None] + 1j * np.diag(steps)
    slopes = np.imag(model(moved)) / steps
    if not (math.isfinite(value) and np.isfinite(slopes).all()):
        raise ValueError("the model has no finite result at the estimates")
    lines = tuple(Line(i, float(c)) for i, c in zip(inputs, slopes, strict=True))
    parts = tuple(line.part for line in lines if line.contribution)
    return Budget(Measured(value, parts), lines, model)
