"""GUM (JCGM 100:2008) table G.2: t_p(dof), as printed, two decimals.

Spot values from the test files of suncal 1.7.1; the rest recomputed. The printed 235.8 for one
degree of freedom at 99.73 % is kept with its own tolerance.
"""

import math

import pytest

from calibration.reporting import coverage_factor, t_factor

LEVELS = (0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973)
TABLE = {
    1: (1.84, 6.31, 12.71, 13.97, 63.66, 235.8),
    2: (1.32, 2.92, 4.30, 4.53, 9.92, 19.21),
    3: (1.20, 2.35, 3.18, 3.31, 5.84, 9.22),
    4: (1.14, 2.13, 2.78, 2.87, 4.60, 6.62),
    5: (1.11, 2.02, 2.57, 2.65, 4.03, 5.51),
    6: (1.09, 1.94, 2.45, 2.52, 3.71, 4.90),
    8: (1.07, 1.86, 2.31, 2.37, 3.36, 4.28),
    10: (1.05, 1.81, 2.23, 2.28, 3.17, 3.96),
    16: (1.03, 1.75, 2.12, 2.17, 2.92, 3.54),
    19: (1.03, 1.73, 2.09, 2.14, 2.86, 3.45),
    20: (1.03, 1.72, 2.09, 2.13, 2.85, 3.42),
    50: (1.01, 1.68, 2.01, 2.05, 2.68, 3.16),
}


@pytest.mark.parametrize("dof", TABLE)
def test_t_factors_are_those_of_the_table(dof):
    for level, printed in zip(LEVELS, TABLE[dof], strict=True):
        assert t_factor(level, dof) == pytest.approx(printed, abs=0.05 if printed > 100 else 0.005)


def test_the_last_row_is_the_normal_distribution():
    printed = (1.000, 1.645, 1.960, 2.000, 2.576, 3.000)
    for level, k in zip(LEVELS, printed, strict=True):
        assert t_factor(level, math.inf) == pytest.approx(k, abs=5e-4)


@pytest.mark.parametrize("dof", [d for d in TABLE if d < 50])
def test_few_degrees_of_freedom_give_the_t_factor_at_95_45(dof):
    assert coverage_factor(dof) == pytest.approx(TABLE[dof][3], abs=0.005)


@pytest.mark.parametrize("dof", [50, 51.5, math.inf])
def test_many_degrees_of_freedom_give_two(dof):
    assert coverage_factor(dof) == 2.0
