"""The clamp's error carried from the turn to the settled wheel.

The turn told how the clamp sits on the wheel. The result is read where the wheel stands on its
plates: the shaft's direction now, less the clamp's error at the wheel's present spin angle. The
direction is told against the sightline as it is now, from port to port, so that an eccentric
clamp, which moved the port, has no part in it: whoever compares two heads on one sightline
compares directions against the same line.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, propagate
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.attitude import sightline_to_shaft, spin_angle
from ingest.geometry.clamp import ClampError, axis_elevation, plan_angle

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
    elevation = _through(_elevation, inputs)
    camber = elevation * -side.sign
    if reading.azimuth is None:
        return SettledWheel(camber, None)
    heading = _through(_heading, [*inputs, reading.azimuth, reading.sightline_elevation])
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
    heading = _through(_heading, [*inputs, azimuth, reading.sightline_elevation])
    _, plan = _axis(np.array([each.value for each in inputs]))
    return SightedWheel(heading, plan, reading.incl_y.value)


def plan_from(reading: ShaftReading, clamp_angle: Measured, clamp_phase: Measured) -> float:
    """Return the plan angle from the spin axis to a shaft, rad, with no uncertainty.

    What ``sighted_wheel`` tells as ``plan_rad``, at a fraction of its work.

    Raises:
        MeasurementRefused: ``steep``: no spin axis could carry the shaft there.
    """
    inputs = [reading.incl_x, reading.incl_y, reading.rotation, clamp_angle, clamp_phase]
    at = np.array([each.value for each in inputs])
    _, plan = _axis(at)
    if not math.isfinite(plan):
        raise _steep(at)
    return plan


def _steep(at: F64) -> MeasurementRefused:
    return MeasurementRefused(
        "steep",
        f"a shaft at {math.degrees(at[1]):.3g} deg does not fit a clamp error of "
        f"{math.degrees(at[3]):.3g} deg, limit 90 deg in all; mount the head anew",
        figure=math.degrees(abs(at[1]) + at[3]),
        limit=90.0,
    )


def _through(function: Callable[[F64], float], inputs: list[Measured]) -> Measured:
    """Carry a function's inputs through it by central differences (GUM 5.1.3, note 2)."""
    at = np.array([each.value for each in inputs])
    value = function(at)
    if not math.isfinite(value):
        raise _steep(at)
    gradient = []
    for row in np.eye(len(at)) * STEP_RAD:
        step = math.remainder(function(at + row) - function(at - row), 2.0 * math.pi)
        gradient.append(step / (2.0 * STEP_RAD))
    return propagate(value, gradient, inputs)


def _axis(at: F64) -> tuple[float, float]:
    """Return elevation of the spin axis and plan angle from it to the shaft."""
    incl_x, incl_y, rotation, angle, phase = at[:5]
    clamp = ClampError(float(angle), float(phase))
    elevation, plan = float(incl_y), 0.0
    for _ in range(PASSES):
        spin = float(spin_angle(rotation, incl_x, incl_y, plan, elevation))
        elevation = axis_elevation(float(incl_y), clamp, spin)
        plan = float(plan_angle(elevation, clamp, spin))
    return elevation, plan


def _elevation(at: F64) -> float:
    return _axis(at)[0]


def _heading(at: F64) -> float:
    _, plan = _axis(at)
    shaft = float(sightline_to_shaft(at[5], at[0], at[1], at[6]))
    return math.remainder(shaft - plan - math.pi / 2.0, 2.0 * math.pi)
