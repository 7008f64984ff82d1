"""Arc covered, dilution and how much further to turn."""

import math

import numpy as np
import pytest

from ingest.geometry.arc import covered_arc, distinct_stops, further_rad, turn_worth

SIGMA = math.radians(0.02)


def u_of_the_mean(spin):
    """Standard uncertainty of the constant, with numpy's own inverse."""
    design = np.stack([np.ones_like(spin), np.cos(spin), np.sin(spin)], axis=1)
    return SIGMA * math.sqrt(np.linalg.inv(design.T @ design)[0, 0])


@pytest.mark.parametrize(
    ("angles_deg", "arc_deg"),
    [
        ([], 0.0),
        ([20.0], 0.0),
        ([0.0, 90.0], 90.0),
        ([350.0, 10.0], 20.0),
        ([0.0, 120.0, 240.0], 240.0),
        ([0.0, -100.0, 50.0], 150.0),
        ([0.0, 200.0, 720.0], 160.0),
    ],
)
def test_the_arc_passes_over_the_widest_gap(angles_deg, arc_deg):
    assert math.degrees(covered_arc(np.radians(angles_deg))) == pytest.approx(arc_deg)


def test_a_repeated_stop_is_no_new_angle():
    assert distinct_stops(np.radians([0.0, 360.0, 120.0, 120.3, 720.1])) == 2
    assert distinct_stops(np.radians([0.0, 0.6, 1.2])) == 3


def test_nothing_is_worth_anything_before_three_angles():
    for angles in ([], [0.0], [0.0, 1.0], [0.0, 1.0, 0.0]):
        worth = turn_worth(np.array(angles))
        assert worth.n == len(angles)
        assert math.isinf(worth.dilution)
        assert math.isinf(worth.condition)


def test_a_full_turn_and_even_stops_have_dilution_one():
    for n in (3, 4, 36, 360):
        assert turn_worth(np.arange(n) * math.tau / n).dilution == pytest.approx(1.0)


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize("count", [1, 2, 17, 60])
def test_turning_on_as_told_is_just_enough(way, count):
    step = math.radians(3.0) * way
    asked = u_of_the_mean(np.arange(30 + count) * step) * (1.0 + 1e-9)
    more = further_rad(np.arange(30) * step, SIGMA, asked)
    assert more == pytest.approx(count * abs(step))


def test_turning_on_works_over_the_seam_of_a_turn():
    step = math.radians(3.0)
    plain = np.arange(30) * step
    wrapped = np.angle(np.exp(1j * (plain + 2.5)))
    asked = math.radians(0.005)
    assert further_rad(wrapped, SIGMA, asked) == pytest.approx(further_rad(plain, SIGMA, asked))


def test_enough_is_enough_and_too_much_is_never():
    spin = np.arange(120) * math.tau / 120
    assert further_rad(spin, SIGMA, math.radians(0.01)) == 0.0
    assert further_rad(spin, SIGMA, math.radians(1e-6)) is None


def test_without_a_step_nothing_can_be_foretold():
    assert further_rad(np.array([]), SIGMA, 1e-3) is None
    assert further_rad(np.array([1.0]), SIGMA, 1e-3) is None
    assert further_rad(np.array([1.0, 1.0]), SIGMA, 1e-3) is None


def test_a_trifle_short_means_one_step_more():
    spin = np.arange(30) * math.radians(3.0)
    asked = u_of_the_mean(spin) * (1.0 - 1e-6)
    assert further_rad(spin, SIGMA, asked) == pytest.approx(math.radians(3.0))
