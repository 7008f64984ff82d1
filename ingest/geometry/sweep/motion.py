"""What a head on a steered knuckle reads: the exact model of a sweep.

The knuckle turns about k, along (-tan caster, -side tan SAI, 1), so that each direction fixed to
it keeps its product with k. Given the shaft's heading, each product is one equation
A cos + B sin = C in one elevation, which an arc sine solves: no iteration, no small angles.
A beam axle's roll turns k itself about the forward axis.

Unknowns stand in one row: tan caster, tan SAI, elevation of the left shaft and swing of the head
straight ahead, and the axle's roll in rad per rad of steering (positive: left end up when
steered left).
"""

import math

import numpy as np
from numpy.typing import NDArray

from ingest.geometry.sweep.readings import Sweep

F64 = NDArray[np.float64]

TAN_CASTER, TAN_SAI, AXIS, SWING, ROLL = range(5)
UNKNOWNS = 5
STEP = 1e-6
"""Of a central difference: its error is below 1e-9 of the slope."""


def level_angle(across: F64, upward: F64, product: F64) -> F64:
    """Return the angle t near 0 that solves across cos t + upward sin t = product, NaN if none."""
    reach = np.hypot(across, upward)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.arcsin(product / reach) - np.arctan2(across, upward))


def predict(sweep: Sweep, unknowns: F64, steer_rad: F64) -> tuple[F64, F64]:
    """Return incl_y and incl_x at these steerings, each of shape (..., n), rad.

    Args:
        sweep: for its side, toe and kind of steering.
        unknowns: shape (..., 5), one row of unknowns for each row of steerings.
        steer_rad: shape (..., n).
    """
    tan_caster, tan_sai, axis, swing, roll = np.moveaxis(unknowns[..., None], -2, 0)
    lean = -sweep.side.sign * tan_sai
    turn = heading_change(sweep, unknowns, steer_rad) if sweep.by_plate else steer_rad
    rolled = roll * (steer_rad if sweep.roll_by_rad is None else sweep.roll_by_rad)
    k_y = lean * np.cos(rolled) - np.sin(rolled)
    k_z = lean * np.sin(rolled) + np.cos(rolled)
    sin_0, cos_0 = math.sin(sweep.straight_rad), math.cos(sweep.straight_rad)
    sin_h, cos_h = np.sin(sweep.straight_rad + turn), np.cos(sweep.straight_rad + turn)
    # Products with k of the level directions to the left and ahead, straight ahead and steered.
    left_0, ahead_0 = tan_caster * sin_0 + lean * cos_0, lean * sin_0 - tan_caster * cos_0
    left, ahead = tan_caster * sin_h + k_y * cos_h, k_y * sin_h - tan_caster * cos_h
    shaft_k = left_0 * np.cos(axis) + np.sin(axis)
    upright_0 = np.cos(axis) - left_0 * np.sin(axis)
    forward_k = ahead_0 * np.cos(swing) + upright_0 * np.sin(swing)
    incl_y = level_angle(left, k_z, shaft_k)
    upright = k_z * np.cos(incl_y) - left * np.sin(incl_y)
    swung = level_angle(ahead, upright, forward_k)
    return incl_y, np.asarray(np.arcsin(np.sin(swung) * np.cos(incl_y)))


def heading_change(sweep: Sweep, unknowns: F64, plate_rad: F64) -> F64:
    """Return how far the shaft's heading turns when the plate turns, shape (..., n), rad.

    A tyre that does not scrub turns its plate by the upright share of the knuckle's turn a about
    k: plate = a k_z. The heading follows from turning the shaft about k by a (Rodrigues).
    """
    tan_caster, tan_sai, axis = np.moveaxis(unknowns[..., : AXIS + 1, None], -2, 0)
    k = np.stack([-tan_caster, -sweep.side.sign * tan_sai, np.ones_like(tan_sai)])
    k = k / np.sqrt((k * k).sum(axis=0))
    turn = plate_rad / k[2]
    sin_0, cos_0 = math.sin(sweep.straight_rad), math.cos(sweep.straight_rad)
    y = np.stack([-np.cos(axis) * sin_0, np.cos(axis) * cos_0, np.sin(axis)])
    along = (k * y).sum(axis=0)
    sin_a, cos_a = np.sin(turn), np.cos(turn)
    x_now = y[0] * cos_a + (k[1] * y[2] - k[2] * y[1]) * sin_a + k[0] * along * (1.0 - cos_a)
    y_now = y[1] * cos_a + (k[2] * y[0] - k[0] * y[2]) * sin_a + k[1] * along * (1.0 - cos_a)
    return np.asarray(np.arctan2(-x_now * cos_0 - y_now * sin_0, y_now * cos_0 - x_now * sin_0))


def slopes(sweep: Sweep, unknowns: F64) -> tuple[F64, F64, F64]:
    """Return readings, their slopes by the unknowns, and by the steering.

    Shapes (c, n), (c, n, 5) and (c, n): c is 2 for incl_y and incl_x of a locked head, else 1.
    """
    rows = np.tile(unknowns, (2 * UNKNOWNS + 3, 1))
    step = STEP * np.eye(UNKNOWNS)
    rows[1 : UNKNOWNS + 1] += step
    rows[UNKNOWNS + 1 : 2 * UNKNOWNS + 1] -= step
    steer = np.tile(sweep.steer_rad, (len(rows), 1))
    steer[-2] += STEP
    steer[-1] -= STEP
    both = predict(sweep, rows, steer)
    channels = np.stack(both if sweep.locked else both[:1])
    up, down = channels[:, 1 : UNKNOWNS + 1], channels[:, UNKNOWNS + 1 : 2 * UNKNOWNS + 1]
    by_unknowns = np.moveaxis(up - down, 1, 2) / (2.0 * STEP)
    by_steer = (channels[:, -2] - channels[:, -1]) / (2.0 * STEP)
    return channels[:, 0], by_unknowns, by_steer


def fitted(sweep: Sweep, unknowns: F64, steer_rad: F64) -> F64:
    """Return what is read at other steerings of a sweep, shape (c, n), rad."""
    order = np.argsort(sweep.steer_rad)
    rolling = np.interp(steer_rad, sweep.steer_rad[order], sweep.rolling_rad[order])
    there = Sweep(
        sweep.side,
        steer_rad,
        np.zeros_like(steer_rad),
        toe_rad=sweep.toe_rad,
        by_plate=sweep.by_plate,
        roll_by_rad=rolling,
    )
    both = predict(there, unknowns, steer_rad)
    return np.stack(both if sweep.locked else both[:1])


def observed(sweep: Sweep) -> F64:
    """Return the readings that the model predicts, shape (c, n), rad."""
    if sweep.incl_x_rad is None:
        return sweep.incl_y_rad[None, :]
    return np.stack([sweep.incl_y_rad, sweep.incl_x_rad])
