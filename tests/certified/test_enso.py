"""NIST StRD "ENSO": monthly pressure differences with an annual and two longer cycles.

Data and certified values: NIST/ITL Statistical Reference Datasets, nonlinear regression,
ENSO.dat (US public domain; Kahaner, Moler and Nash, 1989), retyped in tenths, a year a line.
The certified fit has nine parameters; with its two certified periods held, the other seven are
a linear fit, which is what is made here.
"""

import math

import numpy as np
import pytest
from astropy.timeseries import LombScargle
from scipy.optimize import least_squares

from calibration.harmonics import fit_harmonics, harmonic_matrix
from calibration.leastsquares import factor, fit_linear

TENTHS = """
129 113 106 112 109 75 77 117 129 143 109 137
171 140 153 85 57 55 76 86 73 76 127 110
127 129 130 109 104 102 80 109 136 105 92 124
127 133 101 78 48 30 25 63 97 116 86 124
105 133 104 81 37 107 51 104 109 117 114 137
141 140 125 63 96 117 50 108 127 108 118 126
157 126 148 78 71 112 81 64 52 120 102 127
102 147 122 71 57 67 39 85 83 108 167 126
125 125 98 72 41 106 101 101 119 136 163 176
155 160 152 112 143 145 85 120 127 113 145 151
104 115 134 75 6 3 55 50 46 82 99 92
125 109 99 89 76 95 84 107 136 137 137 165
168 171 154 95 61 101 93 53 112 166 156 120
115 86 138 87 86 86 87 128 132 140 134 148
"""
Y = np.array(TENTHS.split(), dtype=float) / 10.0
X = np.arange(1.0, 169.0)
PERIODS = (12.0, 44.311088700, 26.887614440)
CERTIFIED = (
    10.510749193,
    3.0762128085,
    0.53280138227,
    -1.6231428586,
    0.52554493756,
    0.21232288488,
    1.4966870418,
)
CERTIFIED_RSS = 788.53978668


def seven_parameters():
    columns = [np.ones(168)]
    for period in PERIODS:
        columns += [np.cos(2 * np.pi * X / period), np.sin(2 * np.pi * X / period)]
    return fit_linear(factor(np.stack(columns, axis=1)), Y)


def test_the_data_are_those_of_the_certificate():
    matrix = seven_parameters().design.matrix
    assert len(Y) == 168
    assert np.square(Y - matrix @ np.array(CERTIFIED)).sum() == pytest.approx(
        CERTIFIED_RSS, rel=1e-9
    )


def test_linear_fit_at_the_certified_periods():
    fit = seven_parameters()
    assert fit.coefficients[:, 0] == pytest.approx(CERTIFIED, abs=1e-8)
    assert fit.rss[0] == pytest.approx(CERTIFIED_RSS, rel=1e-10)


def test_residual_deviation_follows_from_the_certified_one():
    # Certified 2.2269642403 with 159 degrees of freedom; two fewer parameters leave 161.
    fit = seven_parameters()
    assert fit.dof == 161
    assert fit.sigma[0] == pytest.approx(2.2269642403 * math.sqrt(159 / 161), rel=1e-9)


def test_annual_cycle_alone():
    # Recomputed on the certified data; not part of the certificate.
    fit = fit_harmonics(2 * np.pi * X / 12.0, Y, reject=False)
    assert fit.cosine()[0] == pytest.approx(3.05288721, abs=5e-9)
    assert fit.sine()[0] == pytest.approx(0.48018313, abs=5e-9)
    assert fit.mean[0] == pytest.approx(10.64166667, abs=5e-9)
    assert fit.amplitude()[0] == pytest.approx(3.09042006, abs=5e-9)
    assert fit.fit.rss[0] == pytest.approx(1160.7698567, abs=5e-8)


def test_annual_cycle_agrees_with_lomb_scargle():
    fit = fit_harmonics(2 * np.pi * X / 12.0, Y, reject=False)
    spectrum = LombScargle(X, Y, fit_mean=True, center_data=False)
    offset, sine, cosine = spectrum.model_parameters(1 / 12)
    assert fit.mean[0] == pytest.approx(offset, rel=1e-10)
    assert fit.sine()[0] == pytest.approx(sine, rel=1e-10)
    assert fit.cosine()[0] == pytest.approx(cosine, rel=1e-10)


def test_two_harmonics_agree_with_lomb_scargle():
    fit = fit_harmonics(2 * np.pi * X / 12.0, Y, orders=(1, 2), reject=False)
    theirs = LombScargle(X, Y, fit_mean=True, center_data=False, nterms=2).model_parameters(1 / 12)
    ours = [fit.mean[0], fit.sine(1)[0], fit.cosine(1)[0], fit.sine(2)[0], fit.cosine(2)[0]]
    assert ours == pytest.approx(theirs, rel=1e-10)


def test_uncertainties_agree_with_a_nonlinear_solver():
    phi = 2 * np.pi * X / 12.0
    fit = fit_harmonics(phi, Y, reject=False)
    solved = least_squares(
        lambda b: b[0] + b[1] * np.cos(phi) + b[2] * np.sin(phi) - Y, [10.0, 1.0, 1.0], method="lm"
    )
    theirs = np.linalg.inv(solved.jac.T @ solved.jac) * 2 * solved.cost / 165
    assert fit.fit.coefficients[:, 0] == pytest.approx(solved.x, rel=1e-7)
    assert fit.fit.covariance() == pytest.approx(theirs, rel=1e-6, abs=1e-8)


def test_certified_values_are_recovered_with_the_periods_free():
    # The certified problem itself, started from NIST's second start, each step made with our
    # matrices: a check that the columns are the model's, cosine first.
    def residuals(periods):
        columns = [harmonic_matrix(2 * np.pi * X / 12.0, (1,))]
        columns += [harmonic_matrix(2 * np.pi * X / p, (1,))[:, 1:] for p in periods]
        return fit_linear(factor(np.hstack(columns)), Y).residuals[:, 0]

    solved = least_squares(residuals, [44.0, 26.0], method="lm", xtol=1e-12, ftol=1e-14)
    assert solved.x == pytest.approx(PERIODS[1:], rel=1e-5)
    assert 2 * solved.cost == pytest.approx(CERTIFIED_RSS, rel=1e-10)
