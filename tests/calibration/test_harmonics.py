"""Harmonic regression: dilution, efficiency, coverage and refusals."""

import math

import numpy as np
import pytest

from calibration.errors import NotEnoughRotation
from calibration.harmonics import design, dilution, fit_harmonics, harmonic_matrix
from calibration.leastsquares import factor, fit_linear
from calibration.reporting import t_factor


def turn(n, span_deg=360.0):
    return np.arange(n) * math.radians(span_deg) / n


@pytest.mark.parametrize("n", [3, 4, 12, 120])
def test_even_stops_of_a_full_turn_dilute_nothing(n):
    assert dilution(design(turn(n))) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("span_deg", "expected"), [(270, 1.14), (180, 2.30), (90, 10.3), (45, 43)])
def test_less_than_a_turn_dilutes(span_deg, expected):
    # Derived: the limit of many readings, from the integrals of the normal equations.
    assert dilution(design(turn(2000, span_deg))) == pytest.approx(expected, rel=0.01)


def test_exact_readings_are_recovered_exactly_at_uneven_angles():
    phi = np.array([0.1, 0.9, 1.7, 3.0, 4.4])
    truth = np.array([[0.05, 1.0], [0.02, -0.3], [-0.01, 0.2]])
    fit = fit_harmonics(phi, harmonic_matrix(phi, (1,)) @ truth)
    assert fit.fit.coefficients == pytest.approx(truth, abs=1e-15)


def test_ill_conditioned_angles_lose_no_more_than_they_must():
    # 3 deg of a turn: condition near 1e4. Normal equations would be left with 8 digits.
    phi = turn(50, 3.0)
    truth = np.array([0.05, 0.02, -0.01])
    fit = fit_harmonics(phi, harmonic_matrix(phi, (1,)) @ truth, max_condition=1e5)
    assert fit.fit.design.condition > 1e3
    assert fit.fit.coefficients[:, 0] == pytest.approx(truth, abs=1e-11)


def test_phase_is_where_the_harmonic_is_greatest():
    phi = turn(60)
    fit = fit_harmonics(phi, np.cos(phi - 0.4) + 0.5 * np.cos(2 * (phi - 1.1)), orders=(1, 2))
    assert fit.phase_rad(1)[0] == pytest.approx(0.4)
    assert fit.phase_rad(2)[0] == pytest.approx(1.1)
    assert fit.predict(np.array([0.4]))[0, 0] == pytest.approx(1 + 0.5 * math.cos(2 * 0.7))


def test_channels_fitted_together_equal_channels_fitted_alone():
    phi = turn(40, 200.0)
    y = np.random.default_rng(3).normal(size=(40, 3))
    together = fit_harmonics(phi, y, reject=False)
    for i in range(3):
        alone = fit_harmonics(phi, y[:, i], reject=False)
        assert together.fit.coefficients[:, i] == pytest.approx(alone.fit.coefficients[:, 0])
        assert together.fit.sigma[i] == pytest.approx(alone.fit.sigma[0])


@pytest.mark.parametrize("phi", [[0.0, 1.0], [1.0, 1.0, 1.0], [0.0, 1e-5, 2e-5], [0.0, 0.0, 2.0]])
def test_refuses_a_short_rotation(phi):
    with pytest.raises(NotEnoughRotation) as refusal:
        fit_harmonics(np.array(phi), np.zeros(len(phi)))
    assert refusal.value.condition > refusal.value.limit == 1e4


def test_three_stops_leave_no_degrees_of_freedom():
    fit = fit_harmonics(turn(3), np.array([0.1, 0.2, 0.4]))
    assert fit.fit.dof == 0
    assert math.isnan(fit.fit.sigma[0])
    with pytest.raises(ValueError, match="state sigma"):
        fit.estimates(source="three stops")


def test_known_noise_gives_three_stops_their_uncertainty():
    fit = fit_harmonics(turn(3), np.array([0.1, 0.2, 0.4]))
    mean = fit.estimates(source="three stops", sigma=0.3)[0]
    assert mean.u == pytest.approx(0.3 / math.sqrt(3))
    assert mean.dof == math.inf


def test_clean_variance_reaches_the_cramer_rao_bound():
    # White normal noise, known angles: the bound is sigma^2 inv(D'D). Paired with plain least
    # squares, which attains it, so that 2000 runs suffice for a limit of 1.02.
    rng, phi = np.random.default_rng(11), turn(36)
    solved = design(phi)
    y = harmonic_matrix(phi, (1,)) @ np.array([0.3, 1.0, -0.5]) + rng.normal(size=(2000, 36))
    errors = [fit_harmonics(phi, row).mean[0] - 0.3 for row in y]
    plain = fit_linear(solved, y.T).coefficients[0] - 0.3
    assert np.square(plain).mean() * 36 == pytest.approx(1.0, abs=0.1)
    assert np.square(errors).mean() / np.square(plain).mean() < 1.02


def test_amplitude_and_phase_reach_the_exact_bound():
    # Kay 1993, example 3.14, with known frequency; whole turns make the closed forms exact:
    # var(A) = 2 s^2/N, var(phase) = 2 s^2/(N A^2), var(C) = s^2/N.
    rng, phi, s, a = np.random.default_rng(12), turn(64), 0.1, 1.3
    y = 0.2 + a * np.cos(phi - 0.4)[:, None] + rng.normal(scale=s, size=(64, 4000))
    fit = fit_harmonics(phi, y, reject=False)
    assert fit.amplitude().var() == pytest.approx(2 * s**2 / 64, rel=0.08)
    assert fit.phase_rad().var() == pytest.approx(2 * s**2 / (64 * a**2), rel=0.08)
    assert fit.mean.var() == pytest.approx(s**2 / 64, rel=0.08)


@pytest.mark.parametrize("n", [5, 8, 12, 36])
def test_95_percent_intervals_cover(n):
    # 2000 seeded runs; binomial deviation 0.5 %.
    phi, inside = turn(n, 250.0), np.zeros(3)
    truth = np.array([0.05, 0.02, -0.01])
    for seed in range(2000):
        noise = np.random.default_rng(seed).normal(scale=1e-3, size=n)
        fit = fit_harmonics(phi, harmonic_matrix(phi, (1,)) @ truth + noise)
        spread = np.sqrt(np.diag(fit.fit.covariance())) * t_factor(0.95, fit.fit.dof)
        inside += np.abs(fit.fit.coefficients[:, 0] - truth) <= spread
    assert np.all((inside >= 0.933 * 2000) & (inside <= 0.966 * 2000)), inside / 2000


def test_covariance_scales_with_the_columns():
    # Columns in very different units must not make a good design look bad.
    matrix = harmonic_matrix(turn(20), (1,))
    scaled = factor(matrix * np.array([1.0, 1e-6, 1e6]))
    assert scaled.condition == pytest.approx(factor(matrix).condition)
    expected = factor(matrix).cofactor[1, 1] * 1e12
    assert scaled.cofactor[1, 1] == pytest.approx(expected)
