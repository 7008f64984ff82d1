"""A gross reading is told by what the others foretell of it: held against NumPy's own line fit."""

import math

import numpy as np
import pytest

from calibration.fits.outlying import LEAST_RAD, TIMES_U, most_outlying
from calibration.fits.result import solve

AT = np.linspace(-1.0, 1.0, 12)
WRONG = 8


def foretold(readings):
    """Return what a line through the others says there, and the u of the difference (NumPy)."""
    others = np.delete(np.arange(AT.size), WRONG)
    line, unscaled = np.polyfit(AT[others], readings[others], 1, cov="unscaled")
    rest = readings[others] - np.polyval(line, AT[others])
    sigma = math.sqrt(rest @ rest / (others.size - 2))
    there = np.array([AT[WRONG], 1.0])
    return float(np.polyval(line, AT[WRONG])), sigma * math.sqrt(1 + there @ unscaled @ there)


def read(scatter_rad, times_u=0.0, least=0.0):
    """Return readings of a line, one of them off by so many u, or shares of the least."""
    readings = 0.1 + 0.3 * AT + np.random.default_rng(5).normal(0.0, scatter_rad, AT.size)
    expected, u = foretold(readings)
    readings[WRONG] = expected + times_u * u + least * LEAST_RAD
    return readings, u


def worst(readings):
    return most_outlying(solve(np.column_stack([np.ones(AT.size), AT]), readings, ("b", "m")))


def test_ten_u_of_what_the_others_foretell_is_the_limit():
    assert TIMES_U == 10.0
    assert worst(read(1e-3, times_u=9.9)[0]) is None
    readings, u = read(1e-3, times_u=10.1)
    found = worst(readings)
    assert found.label == f"row {WRONG + 1}"
    assert found.off_rad == pytest.approx(10.1 * u, rel=1e-9)
    assert found.limit_rad == pytest.approx(10.0 * u, rel=1e-9)


def test_less_than_a_head_at_rest_may_scatter_is_never_gross():
    assert math.degrees(LEAST_RAD) == pytest.approx(0.05)
    assert worst(read(1e-6, least=0.99)[0]) is None
    assert worst(read(1e-6, least=1.01)[0]).limit_rad == LEAST_RAD
