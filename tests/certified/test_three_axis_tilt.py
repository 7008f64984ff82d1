"""Pitch and roll of a three-axis accelerometer.

Freescale/NXP application note AN3461, "Tilt sensing using a three-axis accelerometer": pitch =
atan2(-gx, sqrt(gy^2 + gz^2)), roll = atan2(gy, gz) (quoted from memory; the vector is derived
from these formulae, not printed there). Its x is our left axis, its y our backward axis.
"""

import math

import numpy as np
import pytest

from ingest.geometry.fixed import turn_of_gravity

GRAVITY = (0.1736481777, -0.3368240888, 0.9254165784)
PITCH_DEG, ROLL_DEG = -10.0, -20.0


def test_turn_and_tilt_of_the_application_note():
    gx, gy, gz = GRAVITY
    incl_x, incl_y, incl_z = math.asin(-gy), math.asin(gx), math.asin(gz)
    turn = turn_of_gravity(np.array([incl_x]), np.array([incl_z]))
    assert math.degrees(turn[0]) == pytest.approx(ROLL_DEG, abs=1e-7)
    assert -math.degrees(incl_y) == pytest.approx(PITCH_DEG, abs=1e-7)
