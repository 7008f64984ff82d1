"""The error at each point of a channel, each with its budget. Degrees, as certificates print."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.files.points import Reading
from calibration.files.references import Kind, Reference
from calibration.verification.budget import Budget, Input, evaluate
from calibration.verification.models import (
    KNOWN_ANGLE,
    SINE_BAR,
    known_angle_error,
    sine_bar_angle,
    sine_bar_error,
)
from calibration.verification.series import At, Series
from calibration.verification.setup import ABSOLUTE, Setup, SineBar

F64 = NDArray[np.float64]

FEWEST_ANGLES = 3
"""Where errors are taken from their own mean, fewer hide what they should show."""
WRONG_STACK_DEG = 0.5
"""A stack whose angle is further from the nominal one was built or written down wrong."""


@dataclass(frozen=True, slots=True)
class PointError:
    """The mean error of one point's repeats, in degrees; ``budget.value`` is the error."""

    at: At
    repeats: int
    indication_deg: float
    budget: Budget
    moved_deg: float | None = None
    """The mean error, which a reference that knows differences alone cannot tell: it is added
    to what that reference said, and errors are taken from it. None where the angle is known."""

    @property
    def error_deg(self) -> float:
        """Indication minus reference."""
        return self.budget.value

    @property
    def reference_deg(self) -> float:
        """The known angle, with all that is known of plate, bar and zero."""
        return self.indication_deg - self.error_deg


@dataclass(frozen=True, slots=True)
class HeadShare:
    """What a head's own reading adds to the doubt: its step, and its drift per degC."""

    step_deg: float
    drift_deg_per_degc: float


def stack_angles_deg(readings: Sequence[Reading], bench: SineBar) -> F64:
    """Return the angles that the stacks make by their certificates, shape (n,), signed.

    Raises:
        BadBenchData: a stack cannot be built of the set, is taller than the bar is long, or
            makes another angle than the nominal one.
    """
    length = float(bench.bar.value)
    angles = []
    for r in readings:
        height = _stack(r, bench)[0]
        if not 0 <= height < length:
            why = f"a stack of {height:g} mm on a bar of {length:g} mm"
            raise BadBenchData(f"row {r.row}", why, "check the units (mm)")
        angle = float(sine_bar_angle(*np.array([[height], [length], [0.0]]))[0]) * _sign(r)
        if abs(angle - float(r.nominal_deg)) > WRONG_STACK_DEG:
            why = f"{height:g} mm on {length:g} mm make {angle:.3f}°, not {r.nominal_deg}°"
            raise BadBenchData(f"row {r.row}", why, "check the stack and the row")
        angles.append(angle)
    return np.array(angles)


def sine_bar_errors(
    series: Series, readings: Sequence[Reading], bench: SineBar, head: HeadShare, setup: Setup
) -> tuple[PointError, ...]:
    """Return the errors of an inclinometer on a sine bar, in the order of ``series.at``."""
    heights = list(dict.fromkeys(r.height_mm for r in readings))
    found = []
    for i, at in enumerate(series.at):
        r = next(r for r in readings if r.point[1:] == (at.nominal_deg, at.direction, "as-marked"))
        place = np.eye(len(heights))[heights.index(r.height_mm)]
        indication = float(series.difference_deg[i] + series.reference_deg[i])
        inputs = (
            *_head_inputs(series, i, indication, head, np.eye(len(series.at))[i]),
            _along(_blocks(r, bench), place),
            _stated(SINE_BAR[4], bench.bar),
            Input.limits(SINE_BAR[5], 0.0, setup.warmer_k),
            _angle(SINE_BAR[6], bench.bar),
            _plate(series, bench),
        )
        budget = evaluate(inputs, partial(sine_bar_error, _sign(r)))
        found.append(PointError(at, series.repeats[i], indication, budget))
    return tuple(found)


def known_angle_errors(
    series: Series, reference: Reference, head: HeadShare, approach: Input | None = None
) -> tuple[PointError, ...]:
    """Return the errors against an encoder, index plate, bar or level, in order.

    An encoder or plate knows differences alone: errors are taken from their mean. ``approach``
    is how it may stop off its angle: to one side coming up, and to the other coming down.

    Raises:
        BadBenchData: too few angles for a mean that says anything.
    """
    absolute = reference.kind in ABSOLUTE
    points, places = np.eye(len(series.at)), series.positions
    sides = _sides(series)
    offset = 0.0
    if absolute:
        places = np.ones((len(series.at), 1))
    else:
        _check_spread(series, reference)
        offset = float(series.difference_deg.mean())
        series = _from_mean(series)
        points, places, sides = (part - part.mean(axis=0) for part in (points, places, sides))
    found, moved = [], None if absolute else offset
    for i, at in enumerate(series.at):
        indication = float(series.difference_deg[i] + series.reference_deg[i])
        step = float(reference.step_deg or 0)
        inputs = (
            *_head_inputs(series, i, indication, head, points[i]),
            _along(_known(series.reference_deg[i], reference), places[i]),
            _along(Input.limits(KNOWN_ANGLE[4], 0.0, step / 2), points[i]),
            *(() if approach is None else (_along(approach, sides[i]),)),
        )
        budget = evaluate(inputs, partial(known_angle_error, offset))
        found.append(PointError(at, series.repeats[i], indication, budget, moved))
    return tuple(found)


def _sides(series: Series) -> F64:
    """Return from which side each point was come to, shape (m, number of nominals): +1 or -1.

    Wear differs from place to place, so each nominal angle has an effect of its own.
    """
    sign = np.array([1.0 if at.direction == "up" else -1.0 for at in series.at])
    result: F64 = sign[:, None] * series.positions
    return result


def _check_spread(series: Series, reference: Reference) -> None:
    angles = len({at.nominal_deg for at in series.at})
    if angles < FEWEST_ANGLES:
        why = f"{angles} angles against {reference.kind} {reference.id}, which knows no zero"
        remedy = f"read {FEWEST_ANGLES} at least, spread over the range"
        raise BadBenchData(series.channel, why, remedy)


def _head_inputs(
    series: Series, i: int, indication_deg: float, head: HeadShare, point: F64
) -> tuple[Input, Input, Input]:
    """Return what the head itself adds: scatter, step and drift, in the models' order."""
    scatter = Input.readings(SINE_BAR[0], indication_deg, series.s_deg, series.dof)
    half_drift = head.drift_deg_per_degc * series.span_degc / 2.0
    return (
        _along(scatter, series.weights[i]),
        _along(Input.limits(SINE_BAR[1], 0.0, head.step_deg / 2.0), point),
        _along(Input.limits(SINE_BAR[2], 0.0, half_drift), point),
    )


def _along(one: Input, shares: F64) -> Input:
    """Return an input made of independent equal ones in these shares."""
    size = float(np.linalg.norm(shares))
    if size == 0.0:
        return replace(one, u=0.0)
    return replace(one, u=one.u * size, direction=tuple((shares / size).tolist()))


def _from_mean(series: Series) -> Series:
    return replace(series, weights=series.weights - series.weights.mean(axis=0))


def _stated(source: str, reference: Reference) -> Input:
    return Input.certificate(source, float(reference.value), float(reference.U), float(reference.k))


def _angle(source: str, reference: Reference) -> Input:
    estimate, expanded = float(reference.angle_deg or 0), float(reference.U_angle_deg or 0)
    return Input.certificate(source, estimate, expanded, float(reference.k))


def _known(angle_deg: float, reference: Reference) -> Input:
    """Return the reference angle; ``angle_deg`` has the reference's correction in it."""
    of = _angle if reference.kind is Kind.BAR else _stated
    return replace(of(KNOWN_ANGLE[3], reference), estimate=float(angle_deg))


def _plate(series: Series, bench: SineBar) -> Input:
    """Return the plate's tilt; found by reversal, its doubt is in the indication's scatter."""
    if series.plate_deg is not None:
        return Input(SINE_BAR[7], series.plate_deg, 0.0)
    if bench.level is None:
        raise BadBenchData(series.channel, "nothing says how level the plate was", "add a level")
    return _stated(SINE_BAR[7], bench.level)


def _blocks(reading: Reading, bench: SineBar) -> Input:
    length, u = _stack(reading, bench)
    k = float(bench.blocks.k)
    return Input.certificate(SINE_BAR[3], length, u * k, k)


def _stack(reading: Reading, bench: SineBar) -> tuple[float, float]:
    try:
        return bench.blocks.stack(reading.height_mm or 0.0, reading.blocks_mm)
    except ValueError as error:
        raise BadBenchData(f"row {reading.row}", str(error), "correct the row") from error


def _sign(reading: Reading) -> float:
    return -1.0 if reading.nominal_deg < 0 else 1.0
