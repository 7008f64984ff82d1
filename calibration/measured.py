"""A value with its uncertainty, and the law that carries uncertainty through a formula.

GUM is JCGM 100:2008; equation and clause numbers are those of that document.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

NO_UNCERTAINTY = 1e-140
"""Smaller ones have squares below the range of numbers: they count as none."""


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """One evaluation of uncertainty: a set of readings, a fit, a study, a coefficient.

    ``dof`` are its degrees of freedom, ``math.inf`` where the figure itself is beyond doubt.
    A ``shared`` source is systematic: it does not average out over readings, and it is the same
    source wherever its name is the same. Any other source happened once: it equals only itself.
    """

    name: str
    dof: float = math.inf
    shared: bool = False

    def __post_init__(self) -> None:
        if not self.dof > 0:
            raise ValueError(f"source {self.name}: degrees of freedom {self.dof} are not above 0")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Source):
            return NotImplemented
        return self is other or (self.shared and other.shared and self.name == other.name)

    def __hash__(self) -> int:
        return hash(self.name)


@dataclass(frozen=True, slots=True)
class Part:
    """What one source contributes to a value, signed, in the unit of the value.

    ``components`` lie along the source's own independent unit directions: one for a single
    effect, several where one fit gave several correlated estimates.
    """

    source: Source
    components: tuple[float, ...]

    @property
    def variance(self) -> float:
        """Square of the standard uncertainty from this source alone."""
        return _product(self.components, self.components)


@dataclass(frozen=True, slots=True)
class Measured:
    """A value, its signed parts on independent sources, and what it stands on.

    Angles are radians inside the program; any other unit will do, since only linear steps are
    made here. ``stands_on`` names the records, fits and studies behind the value.
    """

    value: float
    parts: tuple[Part, ...] = ()
    stands_on: frozenset[str] = frozenset()
    _u: float = field(default=-1.0, init=False, repr=False, compare=False)
    """Its uncertainty, once somebody asked for it; -1 before."""
    _dof: float = field(default=-1.0, init=False, repr=False, compare=False)

    @classmethod
    def exact(cls, value: float) -> "Measured":
        """Return a value that is known exactly."""
        return cls(float(value))

    @classmethod
    def of(
        cls,
        value: float,
        u: float,
        *,
        source: str | Source,
        dof: float = math.inf,
        shared: bool = False,
        stands_on: Iterable[str] = (),
    ) -> "Measured":
        """Return a value with standard uncertainty ``u`` from one source.

        ``source`` is a name, or a ``Source`` that other values stand on too (its own ``dof``
        and ``shared`` then count). Raises ``ValueError`` where ``u`` is negative or no number.
        """
        if not (math.isfinite(u) and u >= 0):
            raise ValueError(f"a standard uncertainty of {u} is not possible")
        where = source if isinstance(source, Source) else Source(source, dof, shared)
        return cls(float(value), (Part(where, (float(u),)),), frozenset(stands_on))

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        if self._u < 0.0:
            object.__setattr__(self, "_u", math.sqrt(math.fsum(p.variance for p in self.parts)))
        return self._u

    @property
    def u_random(self) -> float:
        """The share of ``u`` that averages out over readings."""
        return math.sqrt(math.fsum(p.variance for p in self.parts if not p.source.shared))

    @property
    def u_shared(self) -> float:
        """The share of ``u`` that is common to all readings (systematic)."""
        return math.sqrt(math.fsum(p.variance for p in self.parts if p.source.shared))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, G.2b).

        The estimates of one source are combined first and enter as one term.
        """
        if self._dof < 0.0:
            variances = [p.variance for p in self.parts]
            terms = zip(variances, self.parts, strict=True)
            tail, total = math.fsum(v**2 / p.source.dof for v, p in terms), math.fsum(variances)
            object.__setattr__(self, "_dof", total * total / tail if tail > 0 else math.inf)
        return self._dof

    def __add__(self, other: "Measured | float") -> "Measured":
        if isinstance(other, Measured):
            return propagate(self.value + other.value, (1.0, 1.0), (self, other))
        return Measured(self.value + other, self.parts, self.stands_on)

    def __sub__(self, other: "Measured | float") -> "Measured":
        if isinstance(other, Measured):
            return propagate(self.value - other.value, (1.0, -1.0), (self, other))
        return Measured(self.value - other, self.parts, self.stands_on)

    def __mul__(self, factor: float) -> "Measured":
        return propagate(self.value * factor, (factor,), (self,))

    __rmul__ = __mul__

    def __neg__(self) -> "Measured":
        return self * -1.0


def propagate(value: float, gradient: Sequence[float], inputs: Sequence[Measured]) -> Measured:
    """Return ``value = f(inputs)`` with its uncertainty (GUM 5.2.2, eq. 13).

    Args:
        value: the result, at the inputs' values.
        gradient: the derivative of the result by each input, shape (n,).
        inputs: n values; sources that they have in common carry their correlations, exactly.
    """
    if len(gradient) != len(inputs):
        raise ValueError(f"{len(gradient)} derivatives for {len(inputs)} inputs")
    sums: dict[Source, tuple[float, ...]] = {}
    for factor, each in zip(gradient, inputs, strict=True):
        for part in each.parts:
            scaled = tuple(float(factor) * c for c in part.components)
            before = sums.get(part.source)
            sums[part.source] = scaled if before is None else _added(before, scaled)
    names: frozenset[str] = frozenset().union(*(each.stands_on for each in inputs))
    return Measured(float(value), tuple(Part(s, c) for s, c in sums.items()), names)


def _product(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    if len(one) == len(other) == 1:  # most often, and an exact sum of one would take its time
        return one[0] * other[0]
    return math.fsum(a * b for a, b in zip(one, other, strict=True))


def _added(one: tuple[float, ...], other: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(a + b for a, b in zip(one, other, strict=True))


def mean(readings: Sequence[Measured]) -> Measured:
    """Return the mean: random parts average out, shared parts stay as they are."""
    n = len(readings)
    if n == 0:
        raise ValueError("there is no mean of no readings")
    return propagate(math.fsum(r.value for r in readings) / n, (1.0 / n,) * n, readings)


def from_covariance(
    values: Sequence[float] | F64,
    covariance: F64,
    *,
    source: str,
    dof: float = math.inf,
    shared: bool = False,
    stands_on: Iterable[str] = (),
) -> tuple[Measured, ...]:
    """Return the n correlated estimates of one fit, which share its degrees of freedom.

    Args:
        values: the estimates, shape (n,).
        covariance: their covariance, shape (n, n), symmetric, positive semi-definite.

    Raises:
        ValueError: ``covariance`` is no covariance of ``values``.
    """
    factor = _square_root(np.asarray(covariance, dtype=np.float64), len(values))
    where, names = Source(source, dof, shared), frozenset(stands_on)
    return tuple(
        Measured(float(v), (Part(where, tuple(row)),), names)
        for v, row in zip(values, factor.tolist(), strict=True)
    )


def _square_root(covariance: F64, n: int) -> F64:
    """Return L with L @ L.T = covariance, shape (n, n).

    By way of the correlation matrix, so that estimates of very different units keep their
    accuracy, and by eigenvalues, since a covariance may be singular.
    """
    if covariance.shape != (n, n) or not np.isfinite(covariance).all():
        raise ValueError(f"a finite covariance of shape ({n}, {n}) is needed")
    u = np.sqrt(np.maximum(covariance.diagonal(), 0.0))
    scale = np.where(u > NO_UNCERTAINTY, u, 1.0)
    correlation = covariance / np.outer(scale, scale)
    eigenvalues, vectors = np.linalg.eigh(correlation)
    if eigenvalues[0] < -1e-9 * n or np.abs(correlation - correlation.T).max() > 1e-9:
        raise ValueError("the covariance is not symmetric and positive semi-definite")
    root: F64 = scale[:, None] * (vectors * np.sqrt(np.maximum(eigenvalues, 0.0)))
    return root


def from_readings(
    readings: F64, *, source: str, stands_on: Iterable[str] = ()
) -> tuple[Measured, ...]:
    """Return the means of m quantities read together n times (type A, GUM 4.2 and 5.2.3).

    Args:
        readings: shape (n, m), n >= 2, one row per simultaneous set of readings.
    """
    n = readings.shape[0]
    if n < 2:
        raise ValueError("one set of readings tells nothing of their scatter")
    covariance = np.atleast_2d(np.cov(readings, rowvar=False)) / n
    values = readings.mean(axis=0)
    return from_covariance(values, covariance, source=source, dof=n - 1, stands_on=stands_on)


def covariance(measured: Sequence[Measured]) -> F64:
    """Return the covariance of n values, shape (n, n), from the sources they share."""
    n = len(measured)
    result = np.zeros((n, n))
    for i, one in enumerate(measured):
        own = {part.source: part.components for part in one.parts}
        for j in range(i + 1):
            total = math.fsum(
                _product(own[p.source], p.components) for p in measured[j].parts if p.source in own
            )
            result[i, j] = result[j, i] = total
    return result
