"""The steering by a sightline, against a port turned about its kingpin by SciPy's rotations."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.geometry.sweep.sighted import SteerLine


@pytest.mark.parametrize("to_m", [(-2.0, 0.1), (-5.0, -0.2), (3.0, 0.0)])
@pytest.mark.parametrize("steer_deg", [-40.0, -20.0, 0.0, 0.5, 20.0, 40.0])
def test_the_port_swings_about_the_kingpin(to_m, steer_deg):
    port = np.array([0.3, 0.55, 0.0])
    now = Rotation.from_euler("z", steer_deg, degrees=True)

    def plan(turn):
        """From the sightline to a shaft that points left, seen from above."""
        way = np.array([*to_m, 0.0]) - turn.apply(port)
        shaft = turn.apply([0.0, 1.0, 0.0])
        return math.atan2(way[0] * shaft[1] - way[1] * shaft[0], float(way @ shaft))

    line = SteerLine((0.3, 0.55), to_m, plan(Rotation.identity()))
    assert math.degrees(line.steer_rad(plan(now))) == pytest.approx(steer_deg, abs=1e-6)
    there = line.plan_rad(math.radians(steer_deg))
    assert math.remainder(there - plan(now), math.tau) == pytest.approx(0.0, abs=1e-12)
