"""The clamp's error carried from the turn to the settled wheel.

The turn told how the clamp sits on the wheel. The result is read where the wheel stands on its
plates: the shaft's direction now, less the clamp's error at the wheel's present spin angle. The
direction is told against the sightline as it is now, from port to port, so that an eccentric
clamp, which moved the port, has no part in it: whoever compares two heads on one sightline
compares directions against the same line.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, propagate
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.attitude import sightline_to_shaft, spin_angle
from ingest.geometry.clamp import ClampErrors, axis_elevation, plan_angle

F64 = NDArray[np.float64]

PASSES = 4
"""Spin angle, elevation and plan angle depend on each other; four passes end below 1e-12 rad
for tilts of 5 deg and clamp errors of 5 deg."""

STEP_RAD = 1e-6
"""Half the step of the difference quotients; their error is of the order of its square."""


@dataclass(frozen=True, slots=True)
class ShaftReading:
    """A head at rest, corrected, rad. Noise and calibration are parts of each ``Measured``.

    ``azimuth`` is None without a sightline; ``sightline_elevation`` is that of the sightline
    seen from this head, usually 0 with what the heights of the two ports leave open.
    """

    incl_x: Measured
    incl_y: Measured
    rotation: Measured
    azimuth: Measured | None
    sightline_elevation: Measured


@dataclass(frozen=True, slots=True)
class SightedWheel:
    """One sightline of a settled head, rad.

    ``heading`` is the plan angle from the sightline to the wheel's heading, counter-clockwise.
    ``plan_rad`` is that from the wheel's spin axis to the shaft: by so much the head, and each
    port on it, is turned against the wheel. ``lean_rad`` is the elevation of the shaft.
    """

    heading: Measured
    plan_rad: float
    lean_rad: float


@dataclass(frozen=True, slots=True)
class SettledWheel:
    """A wheel on its plates, rad. ``heading`` is the plan angle from the cross sightline to
    the wheel's heading, counter-clockwise; None without a sightline."""

    camber: Measured
    heading: Measured | None


def settled_wheel(
    reading: ShaftReading, clamp_angle: Measured, clamp_phase: Measured, side: Side
) -> SettledWheel:
    """Remove the clamp's error from a shaft at rest.

    Args:
        reading: the shaft as it stands.
        clamp_angle, clamp_phase: the run-out's ``estimates.angle`` and ``.phase``.
        side: of the vehicle; it enters the camber's sign only.

    Raises:
        MeasurementRefused: ``steep``: no spin axis could carry the shaft there.
    """
    inputs = [reading.incl_x, reading.incl_y, reading.rotation, clamp_angle, clamp_phase]
    elevation, _ = _axis(_around(inputs))
    camber = _carried(elevation, inputs) * -side.sign
    if reading.azimuth is None:
        return SettledWheel(camber, None)
    heading, _ = _heading([*inputs, reading.azimuth, reading.sightline_elevation])
    return SettledWheel(camber, heading)


def sighted_wheel(
    reading: ShaftReading, azimuth: Measured, clamp_angle: Measured, clamp_phase: Measured
) -> SightedWheel:
    """Tell the wheel's heading against any sightline of its head, across or along the vehicle.

    Sightlines of one head share its tilt, its encoder, its clamp's error and its calibration,
    and so do the headings that they give.

    Args:
        reading: the shaft as it stands; ``sightline_elevation`` is that of this sightline.
        azimuth: of this sightline.
        clamp_angle, clamp_phase: as ``settled_wheel``.

    Raises:
        MeasurementRefused: ``steep``: no spin axis could carry the shaft there.
    """
    inputs = [reading.incl_x, reading.incl_y, reading.rotation, clamp_angle, clamp_phase]
    heading, plan_rad = _heading([*inputs, azimuth, reading.sightline_elevation])
    return SightedWheel(heading, plan_rad, reading.incl_y.value)


def plan_from(reading: ShaftReading, clamp_angle: Measured, clamp_phase: Measured) -> float:
    """Return the plan angle from the spin axis to a shaft, rad, with no uncertainty.

    What ``sighted_wheel`` tells as ``plan_rad``, at a fraction of its work.

    Raises:
        MeasurementRefused: ``steep``: no spin axis could carry the shaft there.
    """
    inputs = [reading.incl_x, reading.incl_y, reading.rotation, clamp_angle, clamp_phase]
    at = np.array([each.value for each in inputs])
    plan_rad = float(_axis(at[:, None])[1][0])
    if not math.isfinite(plan_rad):
        raise _steep(at)
    return plan_rad


def _steep(at: F64) -> MeasurementRefused:
    return MeasurementRefused(
        "steep",
        f"a shaft at {math.degrees(at[1]):.3g} deg does not fit a clamp error of "
        f"{math.degrees(at[3]):.3g} deg, limit 90 deg in all; mount the head anew",
        figure=math.degrees(abs(at[1]) + at[3]),
        limit=90.0,
    )


def _around(inputs: Sequence[Measured]) -> F64:
    """Return the values of n inputs, then each a step up and each a step down, (n, 2n + 1).

    One call for all of them: numpy takes hardly longer for fifteen values than for one.
    """
    at = np.array([each.value for each in inputs])[:, None]
    steps = np.eye(len(inputs)) * STEP_RAD
    return np.hstack((at, at + steps, at - steps))


def _carried(values: F64, inputs: Sequence[Measured]) -> Measured:
    """Carry n inputs through a function by central differences (GUM 5.1.3, note 2).

    ``values`` (2n + 1,) are the function's, rad, where ``_around`` says.
    """
    n = len(inputs)
    value, *moved = values.tolist()
    if not math.isfinite(value):
        raise _steep(np.array([each.value for each in inputs]))
    turns = zip(moved[:n], moved[n:], strict=True)
    gradient = [math.remainder(up - down, math.tau) / (2.0 * STEP_RAD) for up, down in turns]
    return propagate(math.remainder(value, math.tau), gradient, inputs)


def _axis(at: F64) -> tuple[F64, F64]:
    """Return elevation of the spin axis and plan angle from it to the shaft, (k,) each.

    ``at`` (5 or more, k): tilts, encoder and the clamp's error, as they might be.
    """
    incl_x, incl_y, rotation, angle, phase = at[:5]
    clamp = ClampErrors(angle, phase)
    elevation, plan = incl_y, np.zeros_like(incl_y)
    for _ in range(PASSES):
        spin = spin_angle(rotation, incl_x, incl_y, plan, elevation)
        elevation = axis_elevation(incl_y, clamp, spin)
        plan = plan_angle(elevation, clamp, spin)
    return elevation, plan


def _heading(inputs: Sequence[Measured]) -> tuple[Measured, float]:
    """Return the wheel's heading against a sightline, and the plan angle to the shaft."""
    at = _around(inputs)
    _, plan = _axis(at)
    shaft = sightline_to_shaft(at[5], at[0], at[1], at[6])
    values = shaft - plan - math.pi / 2.0
    return _carried(values, inputs), float(plan[0])
