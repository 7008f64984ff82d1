"""Measured: correlations, shared parts, degrees of freedom. The oracle is ``uncertainties``."""

import math

import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.measured import (
    Measured,
    Source,
    covariance,
    from_covariance,
    from_readings,
    mean,
    propagate,
)
from calibration.reporting import t_factor


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), n=st.integers(1, 5))
def test_propagation_agrees_with_the_uncertainties_package(seed, n):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, n))
    values, cov = rng.normal(size=n), root @ root.T
    ours = from_covariance(values, cov, source="fit")
    theirs = uncertainties.correlated_values(values, cov)
    extra, other = Measured.of(0.5, 0.3, source="x"), uncertainties.ufloat(0.5, 0.3)
    gradients = rng.normal(size=(2, n + 1))
    a, b = (propagate(0.0, g, (*ours, extra)) for g in gradients)
    x, y = (sum(f * v for f, v in zip(g, (*theirs, other), strict=True)) for g in gradients)
    assert a.u == pytest.approx(x.std_dev, rel=1e-7, abs=1e-9)
    expected = np.array(uncertainties.covariance_matrix([x, y]))
    assert covariance([a, b]) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_common_parts_cancel_in_a_difference():
    bias = Measured.of(0.0, 0.02, source="record: bias", shared=True)
    one = Measured.of(1.0, 0.01, source="reading") + bias
    other = Measured.of(0.4, 0.01, source="reading") + bias
    assert (one - other).u == pytest.approx(0.01 * math.sqrt(2))
    assert (one + other).u == pytest.approx(math.hypot(0.01 * math.sqrt(2), 0.04))
    assert covariance([one, other])[0, 1] == pytest.approx(0.02**2)


def test_a_value_minus_itself_is_exactly_nothing():
    value = Measured.of(1.0, 0.1, source="reading")
    assert (value - value).u == 0.0


def test_readings_with_one_name_are_two_readings():
    first, second = (Measured.of(1.0, 0.1, source="reading") for _ in range(2))
    assert (first - second).u == pytest.approx(0.1 * math.sqrt(2))


def test_a_shared_source_is_known_by_its_name():
    first, second = (Measured.of(1.0, 0.1, source="bias", shared=True) for _ in range(2))
    assert (first - second).u == 0.0
    other = Measured.of(1.0, 0.1, source="other bias", shared=True)
    assert (first - other).u == pytest.approx(0.1 * math.sqrt(2))


def test_shared_parts_do_not_average_out():
    # 36 readings, noise 0.01, calibration 0.02: 0.0201, not 0.0037.
    bias = Source("calibration", shared=True)
    readings = [
        Measured.of(1.0, 0.01, source="noise") + Measured.of(0.0, 0.02, source=bias)
        for _ in range(36)
    ]
    average = mean(readings)
    assert average.u == pytest.approx(math.hypot(0.01 / 6, 0.02))
    assert average.u_shared == pytest.approx(0.02)
    assert average.u_random == pytest.approx(0.01 / 6)


def test_correlated_estimates_of_one_fit_enter_as_one_term():
    # Welch-Satterthwaite is for independent terms: two estimates of one fit are one of them.
    a, b = from_covariance([1.0, 2.0], np.array([[1.0, 0.9], [0.9, 1.0]]), source="fit", dof=7)
    assert (a + b).dof == pytest.approx(7.0)
    total = a + b + Measured.of(0.0, 1.0, dof=3, source="other")
    assert total.dof == pytest.approx((3.8 + 1.0) ** 2 / (3.8**2 / 7 + 1.0 / 3))


def test_well_known_parts_have_many_degrees_of_freedom():
    assert Measured.of(1.0, 0.1, source="certificate").dof == math.inf
    assert Measured.exact(3.0).dof == math.inf
    assert Measured.exact(3.0).u == 0.0


def test_what_a_value_stands_on_is_carried_along():
    a = Measured.of(1.0, 0.1, source="a", stands_on=("cal-2026-0042",))
    b = Measured.of(1.0, 0.1, source="b", stands_on=("run-out 3",))
    assert (2.0 * (a - b) + 1.0).stands_on == {"cal-2026-0042", "run-out 3"}


def test_scalars_shift_and_scale():
    value = -(3.0 * Measured.of(2.0, 0.1, source="a") - 1.0)
    assert (value.value, value.u) == (-5.0, pytest.approx(0.3))


def test_estimates_of_very_different_units_keep_their_accuracy():
    u = np.array([1e-9, 1.0, 1e9])
    correlation = np.array([[1, 0.5, -0.2], [0.5, 1, 0.3], [-0.2, 0.3, 1]])
    cov = correlation * np.outer(u, u)
    assert covariance(from_covariance([0, 0, 0], cov, source="fit")) == pytest.approx(cov, rel=1e-9)


def test_a_singular_covariance_is_a_covariance():
    a, b = from_covariance([1.0, 2.0], np.array([[1.0, 1.0], [1.0, 1.0]]), source="fit")
    assert (a - b).u == pytest.approx(0.0, abs=1e-8)
    zero, _ = from_covariance([1.0, 2.0], np.diag([0.0, 1.0]), source="fit")
    assert zero.u == 0.0


def test_readings_taken_together_keep_their_correlation():
    readings = np.random.default_rng(1).normal(size=(20, 2)) @ np.array([[1.0, 0.8], [0.0, 0.6]])
    expected = np.cov(readings, rowvar=False) / 20
    assert covariance(from_readings(readings, source="set")) == pytest.approx(expected)


@pytest.mark.parametrize(
    "cov", [np.array([[1.0, 2.0], [2.0, 1.0]]), np.eye(3), np.full((2, 2), math.nan)]
)
def test_refuses_what_is_no_covariance(cov):
    with pytest.raises(ValueError, match="covariance"):
        from_covariance([1.0, 2.0], cov, source="fit")


def test_refuses_impossible_inputs():
    for u in (-0.1, math.nan, math.inf):
        with pytest.raises(ValueError, match="not possible"):
            Measured.of(1.0, u, source="a")
    with pytest.raises(ValueError, match="degrees of freedom"):
        Measured.of(1.0, 0.1, dof=0, source="a")
    with pytest.raises(ValueError, match="no readings"):
        mean([])
    with pytest.raises(ValueError, match="scatter"):
        from_readings(np.ones((1, 2)), source="set")
    with pytest.raises(ValueError, match="2 derivatives"):
        propagate(0.0, (1.0, 2.0), (Measured.exact(1.0),))


def test_effective_degrees_of_freedom_give_intervals_that_cover():
    # Two independent means of 4 and 12 readings; 95 % by the t factor at the effective dof.
    rng, inside = np.random.default_rng(5), 0
    for _ in range(2000):
        a = from_readings(rng.normal(scale=2.0, size=(4, 1)), source="few")[0]
        b = from_readings(rng.normal(scale=3.0, size=(12, 1)), source="more")[0]
        total = a + b
        inside += abs(total.value) <= t_factor(0.95, total.dof) * total.u
    assert 0.933 <= inside / 2000 <= 0.966
