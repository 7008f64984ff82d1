"""Two heads that see each other across an axle, against complex numbers in the plane."""

import cmath

import pytest

from ingest.core.units import DEG
from ingest.geometry.sweep.crossed import CrossLine

PORTS = (0.60 + 0.54j, 0.58 - 0.52j)
"""Left and right, each from its kingpin; half a metre outside, as ports of clamped heads are."""
APART = 0.01 - 1.55j


def plans(left_rad, right_rad):
    """Plan angles from the line to each shaft; shafts lie along the line when it lies across."""
    left = PORTS[0] * cmath.rect(1.0, left_rad)
    right = APART + PORTS[1] * cmath.rect(1.0, right_rad)
    bearing = cmath.phase(right - left)
    return left_rad - bearing, right_rad - bearing


LINE = CrossLine(
    tuple((port.real, port.imag) for port in PORTS), (APART.real, APART.imag), plans(0.0, 0.0)
)


@pytest.mark.parametrize("left_deg", [-20.0, -3.0, 0.0, 8.0, 20.0])
@pytest.mark.parametrize("less", [0.9, 1.0, 1.1])
def test_both_headings_come_back(left_deg, less):
    true = left_deg * DEG, less * left_deg * DEG
    assert LINE.steer_rad(plans(*true)) == pytest.approx(true, abs=1e-12)
    assert LINE.plan_rad(true) == pytest.approx(plans(*true), abs=1e-12)


def test_the_line_turns_with_the_wheels():
    # 1.06 m of swing (both ports, outside their kingpins) over a line of 2.61 m.
    before, after = (plans(steer, steer)[0] for steer in (-1e-5, 1e-5))
    assert 1.0 - (after - before) / 2e-5 == pytest.approx(1.06 / 2.61, abs=2e-3)
