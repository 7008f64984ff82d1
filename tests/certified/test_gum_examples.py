"""Worked examples of the GUM (JCGM 100:2008), annex H and G.4.

Numbers retyped from the GUM as quoted in the example files of three public packages (suncal
1.7.1, GTC, r-quantities/errors); figures with more digits than the GUM prints were computed
twice, with numpy and with the ``uncertainties`` package.
"""

import math

import numpy as np
import pytest

from calibration.leastsquares import factor, fit_linear
from calibration.measured import (
    Measured,
    covariance,
    from_covariance,
    from_readings,
    propagate,
)
from calibration.reporting import t_factor

# H.2: simultaneous readings of voltage (V), current (A) and phase (rad), five sets.
H2 = np.array(
    [
        [5.007, 19.663e-3, 1.0456],
        [4.994, 19.639e-3, 1.0438],
        [5.005, 19.640e-3, 1.0468],
        [4.990, 19.685e-3, 1.0428],
        [4.999, 19.678e-3, 1.0433],
    ]
)


def correlation(measured):
    spread = np.array([m.u for m in measured])
    return covariance(measured) / np.outer(spread, spread)


def impedance(inputs):
    volt, ampere, phase = (m.value for m in inputs)
    z, cos, sin = volt / ampere, math.cos(phase), math.sin(phase)
    return (
        propagate(z * cos, (cos / ampere, -z * cos / ampere, -z * sin), inputs),
        propagate(z * sin, (sin / ampere, -z * sin / ampere, z * cos), inputs),
        propagate(z, (1 / ampere, -z / ampere, 0.0), inputs),
    )


def test_h2_means_and_their_correlations():
    inputs = from_readings(H2, source="five sets of readings")
    assert [m.value for m in inputs] == pytest.approx([4.9990, 19.6610e-3, 1.04446])
    assert inputs[0].u == pytest.approx(0.0032, abs=5e-5)
    assert inputs[1].u == pytest.approx(0.0095e-3, abs=5e-8)
    assert inputs[2].u == pytest.approx(0.00075, abs=5e-6)
    r = correlation(inputs)
    assert r[0, 1] == pytest.approx(-0.355, abs=5e-4)
    assert r[0, 2] == pytest.approx(0.858, abs=5e-4)
    assert r[1, 2] == pytest.approx(-0.645, abs=5e-4)


def test_h2_resistance_reactance_and_impedance():
    results = impedance(from_readings(H2, source="five sets of readings"))
    assert [m.value for m in results] == pytest.approx([127.73217, 219.84651, 254.25970], abs=1e-5)
    assert [m.u for m in results] == pytest.approx([0.071071, 0.295582, 0.236336], abs=1e-6)
    r = correlation(results)
    assert r[0, 1] == pytest.approx(-0.588, abs=5e-4)
    assert r[0, 2] == pytest.approx(-0.485, abs=5e-4)
    assert r[1, 2] == pytest.approx(0.993, abs=5e-4)


def test_h2_one_set_of_readings_has_one_count_of_degrees_of_freedom():
    for result in impedance(from_readings(H2, source="five sets of readings")):
        assert result.dof == pytest.approx(4.0)


def test_h2_differs_when_the_correlations_are_ignored():
    means, spread = H2.mean(axis=0), H2.std(axis=0, ddof=1) / math.sqrt(5)
    apart = [Measured.of(m, s, source=f"{m}") for m, s in zip(means, spread, strict=True)]
    us = [m.u for m in impedance(apart)]
    assert us == pytest.approx([0.194544, 0.200909, 0.204076], abs=1e-6)


# H.3: thermometer readings t and observed corrections b, degrees Celsius.
H3_T = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
H3_B = np.array([-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]) / 1000.0


def straight_line(t0):
    design = factor(np.stack([np.ones(11), H3_T - t0], axis=1))
    fit = fit_linear(design, H3_B)
    estimates = from_covariance(
        fit.coefficients[:, 0], fit.covariance(), source="line", dof=fit.dof
    )
    return fit, estimates


def test_h3_intercept_slope_and_their_correlation():
    fit, (y1, y2) = straight_line(20.0)
    assert (y1.value, y1.u) == (
        pytest.approx(-0.1712038, abs=5e-8),
        pytest.approx(0.0028776, abs=5e-8),
    )
    assert (y2.value, y2.u) == (
        pytest.approx(0.00218270, abs=5e-9),
        pytest.approx(0.00066794, abs=5e-9),
    )
    assert correlation((y1, y2))[0, 1] == pytest.approx(-0.93043, abs=5e-6)
    assert fit.sigma[0] == pytest.approx(0.003498, abs=5e-7)
    assert fit.dof == 9


def test_h3_predicted_correction_carries_the_correlation():
    _, (y1, y2) = straight_line(20.0)
    at30 = y1 + 10.0 * y2
    assert at30.value == pytest.approx(-0.149377, abs=5e-7)
    assert at30.u == pytest.approx(0.004139, abs=5e-7)
    assert at30.dof == pytest.approx(9.0)


def test_h3_reference_at_the_mean_removes_the_correlation():
    _, (y1, y2) = straight_line(float(H3_T.mean()))
    assert (y1.value, y1.u) == (
        pytest.approx(-0.162455, abs=5e-7),
        pytest.approx(0.001055, abs=5e-7),
    )
    assert correlation((y1, y2))[0, 1] == pytest.approx(0.0, abs=1e-9)


def end_gauge():
    """H.1, nm and degrees Celsius: l = lS + d - lS (da * theta + aS * dt)."""
    standard = Measured.of(50_000_623.0, 25.0, dof=18, source="its certificate")
    difference = (
        Measured.of(215.0, 5.8, dof=24, source="repeats")
        + Measured.of(0.0, 3.9, dof=5, source="comparator, random")
        + Measured.of(0.0, 6.7, dof=8, source="comparator, systematic")
    )
    expansion = Measured.of(11.5e-6, 2e-6 / math.sqrt(3), source="expansion of the standard")
    expansion_difference = Measured.of(0.0, 1e-6 / math.sqrt(3), dof=50, source="its difference")
    theta = Measured.of(-0.1, 0.2, source="mean deviation") + Measured.of(
        0.0, 0.5 / math.sqrt(2), source="cycling"
    )
    temperature_difference = Measured.of(0.0, 0.05 / math.sqrt(3), dof=2, source="between them")
    inputs = (
        standard,
        difference,
        expansion_difference,
        theta,
        expansion,
        temperature_difference,
    )
    length = standard.value
    gradient = (1.0, 1.0, -length * theta.value, 0.0, 0.0, -length * expansion.value)
    return difference, propagate(length + difference.value, gradient, inputs)


def test_h1_difference_and_its_degrees_of_freedom():
    difference, _ = end_gauge()
    assert difference.u == pytest.approx(9.68194, abs=5e-6)
    assert difference.dof == pytest.approx(25.447, abs=5e-4)


def test_h1_length_budget_and_99_percent_interval():
    _, length = end_gauge()
    assert length.value == 50_000_838.0
    assert length.u == pytest.approx(31.6639, abs=5e-5)
    # Published: 16 (truncated). By hand, u**4 over dof: 21701 + 37959 + 345 + 1 = 60007.
    assert length.dof == pytest.approx(31.6639**4 / 60007, abs=1e-3)
    assert math.floor(length.dof) == 16
    # The GUM prints 93 from rounded intermediates; unrounded, with 16 degrees of freedom:
    assert t_factor(0.99, math.floor(length.dof)) * length.u == pytest.approx(92.483, abs=5e-4)


def test_h1_components_are_those_of_the_budget():
    _, length = end_gauge()
    sizes = sorted((math.sqrt(part.variance) for part in length.parts), reverse=True)
    # 25; 16.6; 6.7, 5.8, 3.9 (together 9.7); 2.9
    assert sizes[:6] == pytest.approx([25.0, 16.6, 6.7, 5.8, 3.9, 2.9], abs=0.05)


def test_g4_1_effective_degrees_of_freedom():
    # GUM G.4.1, from memory: relative u of 0.25, 0.57 and 0.82 %, n = 10, 5 and 15.
    parts = [(0.25, 9), (0.57, 4), (0.82, 14)]
    product = propagate(
        100.0,
        (1.0, 1.0, 1.0),
        [Measured.of(1.0, u, dof=dof, source=f"input {dof}") for u, dof in parts],
    )
    assert product.u == pytest.approx(1.03, abs=0.005)
    assert product.dof == pytest.approx(18.9987, abs=5e-5)
    assert t_factor(0.95, 19) * product.u == pytest.approx(2.1547, abs=5e-5)


def test_gum_4_4_3_twenty_temperatures():
    # GUM 4.4.3, from memory: mean 100.145, s 1.489, s/sqrt(20) 0.333.
    first = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
    last = [100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    readings = np.array([*first, *last])
    (mean,) = from_readings(readings[:, None], source="thermometer")
    assert mean.value == pytest.approx(100.145, abs=5e-4)
    assert mean.u == pytest.approx(0.333, abs=5e-4)
    assert mean.u * math.sqrt(20) == pytest.approx(1.489, abs=5e-4)
    assert mean.dof == pytest.approx(19.0)


def test_jcgm101_9_2_2_sum_of_four_standard_normals():
    # JCGM 101:2008, 9.2.2 (by way of suncal 1.7.1): u 2.00, 95 % interval +-3.92.
    inputs = [Measured.of(0.0, 1.0, source=f"x{i}") for i in range(4)]
    total = propagate(0.0, (1.0,) * 4, inputs)
    assert total.u == pytest.approx(2.0)
    assert t_factor(0.95, total.dof) * total.u == pytest.approx(3.92, abs=5e-3)


def test_jcgm101_9_2_4_linear_answer_for_one_wide_rectangle():
    # JCGM 101:2008, 9.2.4, from memory: u 10.1, the linear 95 % interval +-19.9.
    inputs = [Measured.of(0.0, s, source=f"x{i}") for i, s in enumerate((1.0, 1.0, 1.0, 10.0))]
    total = propagate(0.0, (1.0,) * 4, inputs)
    assert total.u == pytest.approx(math.sqrt(103.0))
    assert t_factor(0.95, total.dof) * total.u == pytest.approx(19.9, abs=0.05)
