"""A beam axle that rolls because its wheels do: geometry of contact, not the fit's own law.

Each steered wheel is a thin disc of 0.5 m on a kingpin whose line meets the ground 60 mm inside the
track; the knuckle lifts or lowers the axle's end as the lowest point of the disc turns about that
line. Seen from the side the line runs through the wheel's middle, as it commonly does (it then
meets the ground R tan(caster) ahead of the tyre's contact), or it meets the ground abreast of the
contact, which halves the roll. The roll is no straight line of the steering, so the fit's law
leaves something: it must be small against the uncertainty that it states.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.core.frames import Side
from ingest.geometry.sweep.fit import fit_axle, fit_sweep
from ingest.geometry.sweep.readings import Sweep, SweepNoise
from ingest.geometry.sweep.steering import ONE_WAY, ROLLS

SCRUB_M, RADIUS_M, TRACK_M = 0.06, 0.5, 2.0
NO_TRAIL_M, THROUGH_THE_HUB_M = 0.0, RADIUS_M * math.tan(math.radians(4.0))
NOISE = SweepNoise(math.radians(0.005), math.radians(0.02))


def lowest(wheel, turn_rad, trail_m, rolled):
    """Height of the disc's lowest point against the axle's middle, m, shape (n,)."""
    knuckle = Rotation.from_rotvec(turn_rad[:, None] * wheel.k)
    pin = np.array([0.0, wheel.side.sign * (TRACK_M / 2.0 - SCRUB_M), 0.0])
    centre = pin + knuckle.apply([-trail_m, wheel.side.sign * SCRUB_M, RADIUS_M])
    shaft = rolled.apply(knuckle.apply([0.0, 1.0, 0.0]))
    return rolled.apply(centre)[:, 2] - RADIUS_M * np.sqrt(1.0 - shaft[:, 2] ** 2)


def axle_on_its_wheels(knuckle, trail_m):
    """Roll the axle until both discs stand on the ground; return the roll and what is read."""
    steer = np.radians(np.linspace(-20.0, 20.0, 41))
    wheels = [knuckle(side, 4.0, 7.0, 0.0) for side in (Side.LEFT, Side.RIGHT)]
    turns = [wheel.turn_for(steer) for wheel in wheels]
    roll = np.zeros(len(steer))
    for _ in range(8):
        rolled = Rotation.from_rotvec(np.outer(roll, [1.0, 0.0, 0.0]))
        pairs = zip(wheels, turns, strict=True)
        left, right = (lowest(wheel, turn, trail_m, rolled) for wheel, turn in pairs)
        roll = roll - (left - right) / TRACK_M
    assert np.abs(left - right).max() < 1e-12
    sweeps = []
    for wheel, turn in zip(wheels, turns, strict=True):
        x, y, _, _ = wheel.turned(turn)
        x, y = rolled.apply(x), rolled.apply(y)
        heading = np.arctan2(-y[:, 0], y[:, 1])
        sweeps.append(Sweep(wheel.side, heading, np.arcsin(y[:, 2]), np.arcsin(x[:, 2])))
    return roll, sweeps


def test_an_axle_rolls_up_on_the_inner_side(knuckle):
    # Caster lowers the inner wheel: the axle's end above it rises, by 2 a sin(caster) sin(20) over
    # the track, a being how far out of the kingpin's line the wheel's middle stands, where the two
    # are abreast (first order, by hand).
    roll, _ = axle_on_its_wheels(knuckle, NO_TRAIL_M)
    lift = 2.0 * math.sin(math.radians(4.0)) * math.sin(math.radians(20.0)) / TRACK_M
    assert roll[-1] == pytest.approx(lift * SCRUB_M, rel=0.15)
    out_m = SCRUB_M + RADIUS_M * math.tan(math.radians(7.0))
    roll, _ = axle_on_its_wheels(knuckle, THROUGH_THE_HUB_M)
    assert roll[-1] == pytest.approx(lift * out_m, rel=0.03)


@pytest.mark.parametrize(
    ("trail_m", "roll_deg", "low_deg", "left_deg"),
    # Figures of another exact computation (SciPy's root finder on both discs' contact with the
    # ground and on their headings, made once and apart from this test).
    [(THROUGH_THE_HUB_M, 0.1631, -0.4603, -0.0039), (NO_TRAIL_M, 0.0781, -0.2232, -0.0034)],
)
def test_the_fitted_roll_takes_the_bias_below_its_uncertainty(
    knuckle, trail_m, roll_deg, low_deg, left_deg
):
    roll, sweeps = axle_on_its_wheels(knuckle, trail_m)
    assert math.degrees(roll[-1]) == pytest.approx(roll_deg, abs=0.0002)
    blind = fit_axle(*sweeps)
    fitted = fit_axle(*sweeps, noise=NOISE, roll=True)
    for rigid, rolling in zip(blind, fitted, strict=True):
        assert rigid.hints == (ROLLS, ONE_WAY)
        assert math.degrees(rigid.caster_rad) - 4.0 == pytest.approx(low_deg, abs=0.0003)
        assert math.degrees(rolling.caster_rad) - 4.0 == pytest.approx(left_deg, abs=0.0003)
        assert math.degrees(rolling.sai_rad) == pytest.approx(7.0, abs=0.001)
        assert math.degrees(rolling.estimates.caster.u) == pytest.approx(0.031, abs=0.002)


def test_one_wheel_alone_tells_the_roll_less_well(knuckle):
    _, (left, _) = axle_on_its_wheels(knuckle, THROUGH_THE_HUB_M)
    alone = fit_sweep(left, noise=NOISE, roll=True)
    assert math.degrees(alone.caster_rad) == pytest.approx(4.0, abs=0.005)
    assert math.degrees(alone.estimates.caster.u) == pytest.approx(0.044, abs=0.002)
