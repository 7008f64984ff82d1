"""A verification from readings to verdicts: pure, and the same for bench and command."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.decision import Rule
from calibration.encoders import Encoders
from calibration.files.points import TILT, Points, Reading
from calibration.files.references import Kind, Reference
from calibration.records.parts import Coefficients
from calibration.rounding import Place, place_of
from calibration.sensors import DEFAULT_TILT, Correction
from calibration.tilt import Tilt
from calibration.verification.approach import against
from calibration.verification.budget import Budget
from calibration.verification.cross_axis import cross_axis
from calibration.verification.errors_at_points import (
    HeadShare,
    PointError,
    sine_bar_errors,
    stack_angles_deg,
)
from calibration.verification.figures import (
    Figure,
    hysteresis,
    linearity,
    max_error,
    repeatability,
    zero,
)
from calibration.verification.head_class import HeadClass
from calibration.verification.series import Series, gather
from calibration.verification.setup import (
    ABSOLUTE,
    WIRE_STEP_DEG,
    References,
    Setup,
    by_stack,
)
from calibration.verification.verdicts import Verdict, verdicts_of

F64 = NDArray[np.float64]

ROWS = {
    "incl_x": 0,
    "incl_y": 1,
    "incl_z": 2,
    "rotation": 3,
    "azimuth_cross": 4,
    "azimuth_track": 5,
    "steer": 6,
    "temperature": 7,
}
UNCALIBRATED = "no calibration"
TOGETHER = ("max-error", "hysteresis")
"""Figures that the side matters to from which a reference is come to; a line levels it out."""


@dataclass(frozen=True, slots=True)
class ChannelResult:
    """All that one channel's points say, in degrees; ``step_deg`` is the head's resolution."""

    channel: str
    step_deg: float
    points: tuple[PointError, ...]
    figures: tuple[Figure, ...]
    verdicts: tuple[Verdict, ...]
    budgets: tuple[tuple[str, Budget], ...] = ()
    """Of figures that are not of the points: where each holds, and its budget."""


@dataclass(frozen=True, slots=True)
class Verification:
    """The results of one run and the references that they stand on."""

    channels: tuple[ChannelResult, ...]
    references: tuple[Reference, ...]

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """The verdicts of all channels."""
        return tuple(v for c in self.channels for v in c.verdicts)


@dataclass(frozen=True, slots=True)
class _Evaluated:
    """A channel's errors, its gathered readings, and what they stand on."""

    points: tuple[PointError, ...]
    series: Series
    references: tuple[Reference, ...]
    knows_zero: bool
    together: bool = False


def correction_of(coefficients: Coefficients | None, owner: str) -> Correction:
    """Return the correction that coefficients state; none at all for a head that has none."""
    if coefficients is None:
        return Correction(UNCALIBRATED, False, None, Encoders.from_parts({}, UNCALIBRATED))
    tilt = None if coefficients.tilt is None else Tilt.from_part(coefficients.tilt, owner)
    return Correction(owner, True, tilt, Encoders.from_parts(coefficients.encoders, owner))


def verify(
    points: Points,
    coefficients: Coefficients | None,
    references: References,
    head_class: HeadClass,
    rule: Rule,
    setup: Setup,
) -> Verification:
    """Evaluate points with the coefficients given (None: the readings as they come).

    Raises:
        BadBenchData: readings that do not make a verification, or a reference is missing.
        ReferenceRefused: no result may stand on a reference.
    """
    results, used = [], {each.id: each for each in references.thermometers}
    for channel in points.channels:
        readings = points.of(channel)
        share = _share(channel, coefficients)
        true_deg = _corrected_deg(readings, coefficients)
        got = _errors(readings, true_deg, references, share, setup)
        figures = _figures(got)
        if channel in TILT:
            aside_deg = true_deg[ROWS[_other(channel)]]
            figures = _under(figures, aside_deg)
            other = gather(readings, aside_deg, np.zeros(len(readings)))
            tilts = np.array([p.reference_deg for p in got.points])
            across = cross_axis(other, tilts, share, setup)
            figures += () if across is None else (across,)
        verdicts = verdicts_of(channel, got.points, figures, head_class, rule)
        results.append(ChannelResult(channel, share.step_deg, got.points, figures, verdicts))
        used |= {r.id: r for r in got.references}
    return Verification(tuple(results), tuple(used.values()))


def _errors(
    readings: Sequence[Reading],
    true_deg: F64,
    references: References,
    share: HeadShare,
    setup: Setup,
) -> _Evaluated:
    own = true_deg[ROWS[readings[0].channel]]
    if by_stack(readings):
        bench = references.sine_bar(readings)
        series = gather(readings, own, stack_angles_deg(readings, bench))
        points = sine_bar_errors(series, readings, bench, share, setup)
        return _Evaluated(points, series, bench.used, True)
    reference = references.known_angle(readings)
    angle = reference.angle_deg if reference.kind is Kind.BAR else reference.value
    told = np.array([r.reference_deg for r in readings], dtype=np.float64)
    series = gather(readings, own, told + float(angle or 0))
    got = against(series, reference, share)
    absolute = reference.kind in ABSOLUTE
    return _Evaluated(got.points, series, (reference,), absolute, got.together)


def _figures(got: _Evaluated) -> tuple[Figure, ...]:
    points = got.points
    found = (
        max_error(points),
        zero(points) if got.knows_zero else None,
        repeatability(got.series.s_deg, got.series.dof),
        hysteresis(points),
        linearity(points),
        linearity(points, end_points=True),
    )
    return tuple(
        replace(figure, together=got.together and figure.name in TOGETHER)
        for figure in found
        if figure is not None
    )


def _under(figures: Sequence[Figure], aside_deg: F64) -> tuple[Figure, ...]:
    """Return the figures, the largest error with how far from level the other axis stood."""
    furthest = float(np.abs(aside_deg).max())
    if not math.isfinite(furthest):
        return tuple(figures)
    place = place_of(furthest, 1) if furthest > 0 else Place(-1)
    under = f"other axis within {place.text(place.upward(furthest))}° of level"
    return tuple(replace(f, under=under) if f.name == "max-error" else f for f in figures)


def _corrected_deg(readings: Sequence[Reading], coefficients: Coefficients | None) -> F64:
    """Return all channels as the head would say them, degrees, shape (8, n)."""
    raw = np.full((len(ROWS), len(readings)), np.nan)
    for i, reading in enumerate(readings):
        for channel, value in reading.raw_rad.items():
            raw[ROWS[channel], i] = value
        raw[ROWS["temperature"], i] = reading.temperature_degc
    true: F64 = np.degrees(correction_of(coefficients, "as verified").apply(raw, ROWS))
    return true


def step_deg_of(channel: str, coefficients: Coefficients | None) -> float:
    """Return the smallest step of a channel's readings, deg."""
    known = None if coefficients is None else coefficients.channels.get(channel)  # type: ignore[call-overload]
    return WIRE_STEP_DEG if known is None else known.resolution_deg


def _share(channel: str, coefficients: Coefficients | None) -> HeadShare:
    step = step_deg_of(channel, coefficients)
    if channel not in TILT:
        return HeadShare(step, 0.0)
    tilt = coefficients.tilt if coefficients and coefficients.tilt else DEFAULT_TILT
    return HeadShare(step, tilt.u_bias_deg_per_degc[ROWS[channel]])


def _other(channel: str) -> str:
    return TILT[1 - TILT.index(channel)]
