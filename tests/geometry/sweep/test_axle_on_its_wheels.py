"""A beam axle that rolls because its wheels do: geometry of contact, not the fit's own law.

Each steered wheel is a thin disc of 0.5 m on a kingpin 60 mm inside its track; the knuckle lifts
or lowers the axle's end as the lowest point of the disc turns about the kingpin. The roll that
comes of it is no straight line of the steering, so the fit's law leaves something: it must be small
against the uncertainty that it states.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.core.frames import Side
from ingest.geometry.sweep.fit import fit_axle
from ingest.geometry.sweep.readings import Sweep, SweepNoise
from ingest.geometry.sweep.steering import ROLLS

SCRUB_M, RADIUS_M, TRACK_M = 0.06, 0.5, 2.0
NOISE = SweepNoise(math.radians(0.005), math.radians(0.02))


def lowest(wheel, turn_rad):
    """Height of the disc's lowest point against the axle, m, shape (n,)."""
    knuckle = Rotation.from_rotvec(turn_rad[:, None] * wheel.k)
    centre = knuckle.apply([0.0, wheel.side.sign * SCRUB_M, RADIUS_M])
    shaft = knuckle.apply([0.0, 1.0, 0.0])
    return centre[:, 2] - RADIUS_M * np.sqrt(1.0 - shaft[:, 2] ** 2)


def axle_on_its_wheels(knuckle):
    steer = np.radians(np.linspace(-20.0, 20.0, 41))
    wheels = [knuckle(side, 4.0, 7.0, 0.0) for side in (Side.LEFT, Side.RIGHT)]
    turns = [wheel.turn_for(steer) for wheel in wheels]
    left, right = (lowest(wheel, turn) for wheel, turn in zip(wheels, turns, strict=True))
    roll = np.arctan2(right - left, TRACK_M)
    rolled = Rotation.from_rotvec(np.outer(roll, [1.0, 0.0, 0.0]))
    sweeps = []
    for wheel, turn in zip(wheels, turns, strict=True):
        x, y, _, _ = wheel.turned(turn)
        x, y = rolled.apply(x), rolled.apply(y)
        heading = np.arctan2(-y[:, 0], y[:, 1])
        sweeps.append(Sweep(wheel.side, heading, np.arcsin(y[:, 2]), np.arcsin(x[:, 2])))
    return roll, sweeps


def test_an_axle_rolls_up_on_the_inner_side(knuckle):
    # Caster lowers the inner wheel: the axle's end above it rises, by 2 scrub sin(caster) sin(20)
    # over the track (first order, by hand).
    roll, _ = axle_on_its_wheels(knuckle)
    first_order = 2.0 * SCRUB_M * math.sin(math.radians(4.0)) * math.sin(math.radians(20.0))
    assert roll[-1] == pytest.approx(first_order / TRACK_M, rel=0.15)


def test_the_fitted_roll_takes_the_bias_below_its_uncertainty(knuckle):
    _, sweeps = axle_on_its_wheels(knuckle)
    blind = fit_axle(*sweeps)
    fitted = fit_axle(*sweeps, noise=NOISE, roll=True)
    for rigid, rolling in zip(blind, fitted, strict=True):
        assert rigid.hints == (ROLLS,)
        assert math.degrees(rigid.caster_rad) < 4.0 - 0.2
        assert math.degrees(rolling.caster_rad) == pytest.approx(4.0, abs=0.015)
        assert math.degrees(rolling.sai_rad) == pytest.approx(7.0, abs=0.001)
        assert 0.015 < math.degrees(rolling.estimates.caster.u) < 0.06
