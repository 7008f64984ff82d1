"""Analysis of variance against published worked examples and NumPy's and SciPy's own."""

import numpy as np
import pytest
from scipy import stats

from calibration.anova import INTERACTION, MOUNTING, SETTLING, TECHNICIAN, WHEEL, analyse

# GUM (JCGM 100:2008) H.5, table H.9: a voltage standard on ten days, five readings a day, given
# as means and standard deviations. Data and results from memory; the same stand in the tests of
# suncal (sandialabs, public repository), which computes them from the same table.
DAYS_UV = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)
"""Above 10 V."""
SPREAD_UV = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)

# Gauge study of the AIAG manual "Measurement Systems Analysis": ten parts, three appraisers,
# three trials. Readings and table from memory; that they agree to every printed digit is what
# says that memory holds.
AIAG = """
0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50
0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
-0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
-0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16
"""


def aiag():
    """Return the readings as wheels (parts), technicians (appraisers), mountings (trials), 1."""
    readings = np.array(AIAG.split(), dtype=float).reshape(3, 3, 10)
    return readings.transpose(2, 0, 1)[..., None]


def days():
    """Return five readings a day that have each day's mean and standard deviation."""
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    pattern /= pattern.std(ddof=1)
    readings = 10.0 + 1e-6 * (np.array(DAYS_UV)[:, None] + np.outer(SPREAD_UV, pattern))
    return readings[None, :, :, None]


def test_the_days_of_a_voltage_standard_after_gum_h5():
    found = analyse(days())
    within, between = (row for row in found.rows)
    assert (within.dof, between.dof) == (40, 9)
    assert within.ms**0.5 == pytest.approx(85e-6, abs=0.5e-6)
    assert between.ms**0.5 == pytest.approx(128e-6, abs=0.5e-6)
    assert between.ms / within.ms == pytest.approx(2.25, abs=0.02)
    assert found.of(TECHNICIAN).u == pytest.approx(43e-6, abs=0.5e-6)  # s_B, equation H.29
    assert found.of(MOUNTING).u == within.ms**0.5


def test_the_days_by_the_one_way_test_of_scipy():
    found = analyse(days())
    within, between = found.rows
    expected = stats.f_oneway(*days()[0, :, :, 0])
    assert between.ms / within.ms == pytest.approx(expected.statistic, rel=1e-6)


def test_the_gauge_study_of_a_textbook():
    found = analyse(aiag())
    rows = {row.cause: (row.ss, row.dof) for row in found.rows}
    assert {cause: (round(ss, 4), dof) for cause, (ss, dof) in rows.items()} == {
        MOUNTING: (2.7589, 60),
        INTERACTION: (0.3590, 18),
        TECHNICIAN: (3.1673, 2),
        WHEEL: (88.3619, 9),
    }
    assert found.pooled
    assert found.of(MOUNTING).u == pytest.approx(0.199933, abs=5e-7)  # equipment, pooled
    assert found.of(MOUNTING).dof == 78
    assert found.of(TECHNICIAN).u == pytest.approx(0.226838, abs=5e-7)  # appraisers
    assert found.of(INTERACTION).u == 0.0
    assert found.of(SETTLING) is None


def test_sums_of_squares_are_what_least_squares_leaves_of_nested_models():
    rng = np.random.default_rng(5)
    a, b, n, r = shape = (3, 4, 2, 3)
    values = rng.normal(size=shape)
    i, j, k, _ = (axis.ravel() for axis in np.indices(shape))
    models = (
        np.zeros(a * b * n * r),
        i,
        i + a * j,
        i + a * (j + b * k),
    )

    def left(*factors):
        design = np.hstack([np.equal.outer(f, np.unique(f)).astype(float) for f in factors])
        fit = np.linalg.lstsq(design, values.ravel(), rcond=None)[0]
        return float(np.sum((values.ravel() - design @ fit) ** 2))

    nothing, wheel, cell, mounting = models
    expected = {
        WHEEL: left(nothing) - left(wheel),
        TECHNICIAN: left(nothing) - left(j),
        INTERACTION: left(wheel, j) - left(cell),
        MOUNTING: left(cell) - left(mounting),
        SETTLING: left(mounting),
    }
    found = {row.cause: row.ss for row in analyse(values).rows}
    assert found == pytest.approx(expected, rel=1e-10)
