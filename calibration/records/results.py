"""What a record says of the results: fits, stability, points, figures, verdicts, budgets."""

from datetime import date
from typing import Annotated, Self

from pydantic import Field, model_validator

from calibration.decision import Rule
from calibration.records.fields import (
    Conformity,
    Count,
    Decimal,
    Direction,
    FigureName,
    Line,
    Moment,
    NotNegative,
    Positive,
    Probability,
    Sha256,
    Unit,
    Whole,
    Word,
)
from calibration.records.parts import Part, Uncertainty

Words = Annotated[tuple[Word, ...], Field(max_length=1000)]
Row = Annotated[tuple[float | None, ...], Field(max_length=64)]


class FitSummary(Part):
    """What a fit found, in the fit's own units (rad, shares); null: undetermined or unknown."""

    kind: Word
    channel: Word
    method: Line
    names: Annotated[tuple[Word, ...], Field(max_length=64)]
    values: Row
    u: Row
    covariance: Annotated[tuple[Row, ...], Field(max_length=64)]
    dof: Annotated[float, Field(gt=0)] | None
    """Null: many, or none that tells."""
    sigma: Uncertainty | None
    """Standard deviation of one row."""
    rank: Whole
    undetermined: Words = ()
    distrusted: Words = ()

    @model_validator(mode="after")
    def _check_shapes(self) -> Self:
        n = len(self.names)
        rows = {"values": self.values, "u": self.u, "covariance": self.covariance}
        for name, row in rows.items():
            if len(row) != n:
                raise ValueError(f"{name} has {len(row)} entries, names has {n}")
        if any(len(row) != n for row in self.covariance):
            raise ValueError(f"covariance is not {n} by {n}")
        return self


class CurvePoint(Part):
    """One point of an Allan deviation curve with its interval, in the channel's unit."""

    tau_s: Annotated[float, Field(gt=0)]
    deviation: Uncertainty
    low: Uncertainty
    high: Uncertainty


class Stability(Part):
    """What a still recording says of a channel. Figures are null where it was too short."""

    channel: Word
    unit: Unit
    recorded_s: NotNegative
    noise_density: NotNegative | None = None
    """``unit`` per root hertz."""
    bias_instability: NotNegative | None = None
    at_tau_s: NotNegative | None = None
    """Where the bias instability was read off."""
    warm_up: Decimal | None = None
    """What the reading moves by after switching on, in ``unit``."""
    warm_up_s: NotNegative | None = None
    """Its time constant."""
    per_degc: Decimal | None = None
    """Temperature drift, ``unit`` per degC."""
    curve: Annotated[tuple[CurvePoint, ...], Field(max_length=200)] = ()

    @property
    def still_falls(self) -> bool:
        """Whether the curve is lowest at its end: its bias instability is then an upper limit."""
        lowest = min(self.curve, key=lambda point: point.deviation, default=None)
        return lowest is not None and lowest is self.curve[-1]


class Point(Part):
    """One verification point: the mean of ``repeats`` readings taken in one direction."""

    channel: Word
    nominal: Decimal
    direction: Direction
    repeats: Count
    reference: Decimal
    indication: Decimal
    error: Decimal
    U: NotNegative
    k: Positive
    unit: Unit
    moved: Annotated[Decimal | None, Field(exclude_if=lambda told: told is None)] = None
    """How far ``reference`` was moved from what a reference without a zero said, so that the
    errors' mean is nought; absent where the reference knows the angle itself."""


class Figure(Part):
    """One figure that sums the points up."""

    channel: Word
    name: FigureName
    value: Decimal
    U: NotNegative | None = None
    k: Positive | None = None
    unit: Unit
    at: Annotated[Line | None, Field(exclude_if=lambda told: told is None)] = None
    """Where and under which conditions it was found, for people; absent where it was not told."""
    together: Annotated[bool, Field(exclude_if=lambda told: not told)] = False
    """It is that of head and reference together: nothing tells their shares apart."""


class Verdict(Part):
    """Whether a figure lies within its limits; null: no such limit, or nothing to tell by."""

    channel: Word
    name: FigureName
    low: Decimal | None
    high: Decimal | None
    value: Decimal
    U: NotNegative | None
    k: Positive | None
    unit: Unit
    rule: Rule
    decision: Conformity
    p_conform: Probability | None

    @model_validator(mode="after")
    def _check_decided(self) -> Self:
        without = self.U is None or (self.low is None and self.high is None)
        if without and self.decision != "none":
            raise ValueError(f"{self.decision} without an uncertainty or a limit")
        return self


class Run(Part):
    """One verification: as found, or as left."""

    performed: date
    points: Annotated[tuple[Point, ...], Field(max_length=2000)] = ()
    figures: Annotated[tuple[Figure, ...], Field(max_length=100)] = ()
    verdicts: Annotated[tuple[Verdict, ...], Field(max_length=100)] = ()
    taken_from: Annotated[Moment | None, Field(exclude_if=lambda told: told is None)] = None
    taken_to: Annotated[Moment | None, Field(exclude_if=lambda told: told is None)] = None
    """When the first and the last reading were taken; absent where the file does not say."""
    after: Annotated[Sha256 | None, Field(exclude_if=lambda told: told is None)] = None
    """As left: the hash of the adjustment that it was made after."""


class BudgetLine(Part):
    """One source of uncertainty; ``contribution`` is sensitivity times u."""

    source: Word
    estimate: Decimal
    u: NotNegative
    distribution: Word
    divisor: Positive
    sensitivity: Decimal
    contribution: NotNegative
    dof: Positive | None
    """Null: many."""


class MonteCarlo(Part):
    """The same budget by propagation of distributions (JCGM 101:2008)."""

    trials: Count
    seed: Whole
    u: NotNegative
    low: Decimal
    high: Decimal
    probability: Probability


class Budget(Part):
    """The uncertainty of a channel's error ``at`` a point or over the range."""

    channel: Word
    at: Line
    unit: Unit
    lines: Annotated[tuple[BudgetLine, ...], Field(min_length=1, max_length=100)]
    u: NotNegative
    dof: Positive | None
    k: Positive
    U: NotNegative
    monte_carlo: MonteCarlo | None = None
