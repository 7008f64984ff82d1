"""The steering axis from a sweep by one linear solution: exact, no start value.

k . y is the same at all positions, and so is k . x where the head is locked to its shaft. With
k along (-u, -side v, 1), u = tan caster and v = tan SAI::

    y_z = u y_x + side v y_y + c      x_z = u x_x + side v x_y + c'

Two positions with x, or three without, determine u and v.
"""

import numpy as np
from numpy.typing import NDArray

from calibration.leastsquares import Design, factor
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.directions import forward, shaft
from ingest.geometry.sweep.motion import (
    AXIS,
    ROLL,
    SWING,
    TAN_CASTER,
    TAN_SAI,
    UNKNOWNS,
    heading_change,
    level_angle,
)
from ingest.geometry.sweep.readings import Sweep

F64 = NDArray[np.float64]

PLATE_PASSES = 30
PLATE_CLOSE = 1e-14


def linear_design(sweep: Sweep, turn_rad: F64, *, roll: bool) -> tuple[F64, F64]:
    """Return matrix (m, p) and right-hand side (m,) at these changes of the shaft's heading.

    Columns: u, v, one constant for each axis read and, with ``roll``, the axle's roll (linear
    but for terms of the second order in it).
    """
    heading = sweep.straight_rad + turn_rad
    axes = [shaft(heading, sweep.incl_y_rad)]
    if sweep.incl_x_rad is not None:
        axes.append(forward(heading, sweep.incl_y_rad, sweep.incl_x_rad))
    vectors = np.concatenate(axes, axis=1)
    one = np.kron(np.eye(len(axes)), np.ones((len(sweep), 1)))
    columns = [vectors[0], sweep.side.sign * vectors[1], *one.T]
    if roll:
        columns.append(np.tile(sweep.rolling_rad, len(axes)) * vectors[1])
    return np.stack(columns, axis=1), vectors[2]


def solve_linear(sweep: Sweep, *, roll: bool = False, max_condition: float = 1e4) -> F64:
    """Return the row of unknowns (see ``motion``), shape (5,).

    Raises:
        NotEnoughRotation: the positions do not determine the axis.
        MeasurementRefused: ``unsettled``: no axis turns a head like that.
    """
    turn = sweep.steer_rad
    unknowns = np.zeros(UNKNOWNS)
    for _ in range(PLATE_PASSES if sweep.by_plate else 1):
        matrix, right = linear_design(sweep, turn, roll=roll)
        design = factor(matrix, max_condition=max_condition)
        before, unknowns = unknowns, _unknowns(sweep, design, right, roll=roll)
        if not np.isfinite(unknowns).all():
            raise unsettled()
        if sweep.by_plate:
            turn = heading_change(sweep, unknowns, sweep.steer_rad)
            if np.abs(unknowns - before).max() < PLATE_CLOSE:
                break
    return unknowns


def unsettled() -> MeasurementRefused:
    """Return the refusal of readings that no steering axis explains."""
    return MeasurementRefused(
        "unsettled",
        "no steering axis turns a head as these readings say (0 solutions, 1 is needed); they are "
        "no steering sweep: look at columns, units and signs",
        figure=0.0,
        limit=1.0,
    )


def _unknowns(sweep: Sweep, design: Design, right: F64, *, roll: bool) -> F64:
    """Turn the linear coefficients into the row of unknowns."""
    found = design.inverse @ right
    unknowns = np.zeros(UNKNOWNS)
    unknowns[[TAN_CASTER, TAN_SAI]] = found[:2]
    unknowns[ROLL] = found[-1] if roll else 0.0
    lean, straight = -sweep.side.sign * found[1], sweep.straight_rad
    left = found[0] * np.sin(straight) + lean * np.cos(straight)
    ahead = lean * np.sin(straight) - found[0] * np.cos(straight)
    unknowns[AXIS] = level_angle(left, np.array(1.0), found[2])
    if sweep.locked:
        upright = np.cos(unknowns[AXIS]) - left * np.sin(unknowns[AXIS])
        unknowns[SWING] = level_angle(ahead, upright, found[3])
    return unknowns
