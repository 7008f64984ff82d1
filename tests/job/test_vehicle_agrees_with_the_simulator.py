"""The shipped vehicles against the simulator's, which is written apart and shares no geometry."""

from itertools import combinations

import numpy as np
import pytest

from ingest.core.frames import Side
from ingest.job.vehicle.axles import Wheel
from ingest.simulator.fleet import VEHICLES
from ingest.simulator.obstacles import blocked_by_boxes, blocked_by_tyres
from tests.job.vehicles import vehicle

PORT_OUT_M = 0.30
"""Beside the tyre: ports lie some 0.3 m outward of the hub."""


@pytest.mark.parametrize("name", VEHICLES)
def test_it_is_the_vehicle_of_that_name(name):
    real, ours = VEHICLES[name](1), vehicle(name)
    assert ours.name == real.name
    last = ours.axles[-1].behind_m
    assert {axle.number: (round(last - axle.behind_m, 6), axle.track_m) for axle in ours.axles} == {
        n: (axle.x_m, axle.track_m) for n, axle in real.axles.items()
    }
    for axle in ours.axles:
        built = real.axles[axle.number]
        assert axle.tyre.diameter_m == pytest.approx(2 * built.radius_m)
        assert axle.dual == built.dual
        assert axle.role.is_steered == built.steered


@pytest.mark.parametrize("name", VEHICLES)
def test_the_lines_that_it_says_are_blocked_are_those_that_are(name):
    real, ours = VEHICLES[name](1), vehicle(name)

    def meets(one, other):
        ends = []
        for wheel in (one, other):
            axle = real.axles[wheel.axle]
            # Across, a head looks past its own tyre from a port behind it or ahead of it.
            ahead = 0.6 if one.axle == other.axle else 0.0
            y = wheel.side.sign * (axle.track_m / 2.0 + PORT_OUT_M)
            ends.append(np.array([[axle.x_m + ahead, y, axle.radius_m]]))
        boxes = blocked_by_boxes(*ends, real.beams)
        return bool((boxes | blocked_by_tyres(*ends, real.tyres))[0])

    pairs = [(Wheel(n, Side.LEFT), Wheel(n, Side.RIGHT)) for n in real.axles]
    pairs += [(Wheel(a, s), Wheel(b, s)) for a, b in combinations(real.axles, 2) for s in Side]
    assert {p for p in pairs if meets(*p)} == {p for p in pairs if not ours.sees(*p)}
