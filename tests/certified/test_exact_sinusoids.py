"""NIST Dataplot's sample file SIN1.DAT: 10 + 5 sin(2 pi 0.1 t + 0.8), t = 1 .. 100.

The file (US public domain) is this formula to four decimals; its first six values are retyped
here, and all hundred were compared once. SIN2 to SIN4 have the frequencies 0.2, 0.3, 0.4.
"""

import math

import numpy as np
import pytest

from calibration.harmonics import fit_harmonics

T = np.arange(1.0, 101.0)
FIRST_SIX = (14.9493, 14.4214, 12.2047, 9.1458, 6.4132, 5.0507)


def sample(frequency):
    return np.round(10 + 5 * np.sin(2 * np.pi * frequency * T + 0.8), 4)


def test_the_formula_is_the_file():
    assert sample(0.1)[:6] == pytest.approx(FIRST_SIX, abs=1e-12)


@pytest.mark.parametrize("frequency", [0.1, 0.2, 0.3, 0.4])
def test_recovers_a_sinusoid_given_to_four_decimals(frequency):
    fit = fit_harmonics(2 * np.pi * frequency * T, sample(frequency))
    phase = math.atan2(fit.cosine()[0], fit.sine()[0])
    # Half a unit of the fourth decimal over 100 readings.
    assert fit.mean[0] == pytest.approx(10.0, abs=5e-5)
    assert fit.amplitude()[0] == pytest.approx(5.0, abs=5e-5)
    assert phase == pytest.approx(0.8, abs=1e-5)
    assert fit.fit.sigma[0] < 5e-5
    assert fit.fit.rejected == ()


def test_even_angles_over_whole_turns_are_orthogonal():
    # N equispaced angles: D'D = diag(N, N/2, N/2), so the cofactor is diag(1, 2, 2)/N.
    phi = np.arange(36) * math.tau / 36
    fit = fit_harmonics(phi, np.cos(phi))
    assert fit.fit.design.cofactor == pytest.approx(np.diag([1, 2, 2]) / 36, abs=1e-16)
    assert fit.dilution == pytest.approx(1.0, abs=1e-14)
    assert fit.fit.design.condition == pytest.approx(1.0, abs=1e-12)
