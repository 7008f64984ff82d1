"""Rejecting gross outliers without paying for it on clean data."""

import math

import numpy as np
import pytest

from calibration.harmonic_order import fit_proven
from calibration.harmonics import design, fit_harmonics, harmonic_matrix


def turn(n, span_deg=360.0):
    return np.arange(n) * math.radians(span_deg) / n


def curve(phi):
    return harmonic_matrix(phi, (1,)) @ np.array([0.3, 1.0, -0.5])


@pytest.mark.parametrize("n", [8, 12, 36, 120])
def test_clean_data_lose_a_row_as_seldom_as_stated(n):
    rng, phi, runs = np.random.default_rng(n), turn(n), 2000
    lost = sum(bool(fit_harmonics(phi, rng.normal(size=n)).fit.rejected) for _ in range(runs))
    # The stated level, for a whole set, within three binomial deviations.
    level = 0.01 if n < 30 else 0.02
    assert lost / runs == pytest.approx(level, abs=3 * math.sqrt(level * (1 - level) / runs))


@pytest.mark.parametrize("n", [36, 120])
@pytest.mark.parametrize("together", [False, True])
def test_a_tenth_of_gross_outliers_costs_little(n, together):
    rng, phi = np.random.default_rng(n), turn(n)
    count, errors, missed = round(0.1 * n), [], 0
    for _ in range(1000):
        y = curve(phi) + rng.normal(size=n)
        bad = (np.arange(count) + rng.integers(n)) % n
        if not together:
            bad = rng.choice(n, count, replace=False)
        y[bad] += rng.uniform(10, 50) * (1 if together else rng.choice([-1, 1], count))
        fit = fit_harmonics(phi, y)
        errors.append(fit.mean[0] - 0.3)
        missed += not set(bad.tolist()) <= set(fit.fit.rejected)
    assert np.square(errors).mean() / design(phi).cofactor[0, 0] < 1.3
    assert missed <= 5


def test_names_the_bad_rows_and_no_others():
    rng, phi = np.random.default_rng(7), turn(60)
    y = curve(phi) + rng.normal(scale=0.01, size=60)
    y[[4, 5, 33]] += 1.0
    assert fit_harmonics(phi, y).fit.rejected == (4, 5, 33)


def test_one_bad_stop_of_eight_is_found():
    phi = turn(8)
    y = curve(phi) + np.random.default_rng(1).normal(scale=1e-3, size=8)
    y[6] += 0.5
    fit = fit_harmonics(phi, y)
    assert fit.fit.rejected == (6,)
    assert fit.mean[0] == pytest.approx(0.3, abs=2e-3)
    assert fit.fit.dof == 4


@pytest.mark.parametrize(("n", "count"), [(12, 2), (16, 2), (24, 3)])
def test_neighbouring_bad_stops_do_not_hide_each_other(n, count):
    rng, phi = np.random.default_rng(n), turn(n)
    y = curve(phi) + rng.normal(size=n)
    y[3 : 3 + count] += 30.0
    assert set(range(3, 3 + count)) <= set(fit_harmonics(phi, y).fit.rejected)


def test_fewer_than_eight_rows_are_all_kept():
    y = curve(turn(7))
    y[3] += 5.0
    assert fit_harmonics(turn(7), y).fit.rejected == ()


def test_a_row_bad_in_one_channel_goes_from_all():
    rng, phi = np.random.default_rng(2), turn(40)
    y = np.stack([curve(phi)] * 3, axis=1) + rng.normal(scale=0.01, size=(40, 3))
    y[17, 1] += 1.0
    fit = fit_harmonics(phi, y)
    assert fit.fit.rejected == (17,)
    assert fit.fit.residuals[17, 1] == pytest.approx(1.0, abs=0.05)


def test_bad_rows_do_not_touch_the_result():
    rng, phi = np.random.default_rng(3), turn(50)
    y = curve(phi) + rng.normal(scale=0.01, size=50)
    keep = np.ones(50, dtype=bool)
    keep[[3, 20, 41]] = False
    y[~keep] -= 7.0
    alone = fit_harmonics(phi[keep], y[keep], reject=False)
    fit = fit_harmonics(phi, y)
    assert fit.fit.coefficients == pytest.approx(alone.fit.coefficients, abs=1e-13)
    assert fit.fit.sigma == pytest.approx(alone.fit.sigma)
    assert fit.fit.dof == alone.fit.dof


@pytest.mark.parametrize("n", [8, 30, 200])
def test_rounding_is_no_outlier(n):
    phi = turn(n, 300.0)
    assert fit_harmonics(phi, curve(phi)).fit.rejected == ()
    assert fit_harmonics(phi, np.zeros(n)).fit.rejected == ()
    assert fit_harmonics(phi, np.full(n, 0.1)).fit.rejected == ()


def test_coarse_steps_are_no_outliers():
    phi = turn(60)
    y = np.round(0.02 * np.cos(phi), 3)
    assert fit_harmonics(phi, y).fit.rejected == ()


def test_the_result_does_not_depend_on_the_unit():
    rng, phi = np.random.default_rng(5), turn(40)
    y = curve(phi) + rng.normal(scale=0.1, size=40)
    y[10] += 3.0
    for factor in (1e-9, 1e6):
        assert fit_harmonics(phi, y * factor).fit.rejected == fit_harmonics(phi, y).fit.rejected


def test_a_second_harmonic_is_not_proven_by_noise():
    rng, phi = np.random.default_rng(8), turn(60)
    orders = [fit_proven(phi, curve(phi) + rng.normal(size=60)).orders for _ in range(1000)]
    # Level 1e-3: more than 6 of 1000 has a chance below 1e-4.
    assert sum(o != (1,) for o in orders) <= 6


def test_a_real_second_harmonic_is_taken_even_among_outliers():
    rng, phi = np.random.default_rng(9), turn(80)
    y = curve(phi) + 0.05 * np.cos(2 * phi - 1.0) + rng.normal(scale=0.02, size=80)
    y[[5, 50]] += 2.0
    fit = fit_proven(phi, y)
    assert fit.orders == (1, 2)
    assert fit.fit.rejected == (5, 50)
    assert fit.amplitude(2)[0] == pytest.approx(0.05, abs=0.012)


def test_candidates_are_judged_each_for_itself():
    rng, phi = np.random.default_rng(10), turn(120)
    y = curve(phi) + 0.1 * np.sin(4 * phi) + rng.normal(scale=0.05, size=120)
    assert fit_proven(phi, y, candidates=(2, 4)).orders == (1, 4)


def test_few_stops_prove_nothing():
    phi = turn(19)
    y = curve(phi) + 0.5 * np.cos(2 * phi) + np.random.default_rng(4).normal(scale=1e-3, size=19)
    assert fit_proven(phi, y).orders == (1,)
    assert fit_proven(turn(20), curve(turn(20)) + 0.5 * np.cos(2 * turn(20))).orders == (1, 2)


@pytest.mark.parametrize("seed", range(25))
def test_rounding_proves_nothing(seed):
    # Rounding is no noise: without a floor a fifth of such sets "prove" a harmonic.
    rng = np.random.default_rng(seed)
    phi = np.sort(rng.uniform(0, rng.uniform(2, 7), rng.integers(20, 150)))
    exact = harmonic_matrix(phi, (1,)) @ rng.normal(size=3)
    assert fit_proven(phi, exact, candidates=(2,)).orders == (1,)


def test_a_short_arc_that_cannot_carry_the_candidate_is_fitted_without():
    phi = turn(60, 12.0)
    y = curve(phi) + np.random.default_rng(6).normal(scale=1e-3, size=60)
    assert fit_proven(phi, y).orders == (1,)
