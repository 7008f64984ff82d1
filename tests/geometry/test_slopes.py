"""The derivatives behind the uncertainties, against SciPy's difference quotients."""

import math

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from ingest.geometry.clamp import ClampError, axis_elevation, plan_angle, plan_angle_slopes
from ingest.geometry.elevation import axis_of, axis_slopes

SPIN = np.linspace(-3.0, 3.0, 7)


@pytest.mark.parametrize("elevation", [-0.3, 0.0, 0.2])
@pytest.mark.parametrize(("angle", "phase"), [(0.01, 0.3), (0.3, -2.0)])
def test_slopes_of_the_plan_angle(elevation, angle, phase):
    slopes = plan_angle_slopes(elevation, ClampError(angle, phase), SPIN)

    def at(unknowns):
        return plan_angle(unknowns[0], ClampError(unknowns[1], unknowns[2]), SPIN)

    expected = approx_fprime(np.array([elevation, angle, phase]), at, 1e-7)
    assert pytest.approx(expected, abs=1e-6) == slopes.T


@pytest.mark.parametrize("c0", [-0.4, 0.0, 0.1])
@pytest.mark.parametrize(("cosine", "sine"), [(0.02, 0.01), (-0.3, 0.2), (0.0, -0.1)])
def test_slopes_of_the_axis(c0, cosine, sine):
    def at(coefficients):
        elevation, clamp = axis_of(*coefficients)
        error = clamp.angle_rad * np.exp(1j * clamp.phase_rad)
        return np.array([elevation, error.real, error.imag])

    expected = approx_fprime(np.array([c0, cosine, sine]), at, 1e-8)
    assert axis_slopes(c0, cosine, sine) == pytest.approx(expected, rel=1e-5, abs=1e-6)


def test_slopes_of_the_axis_hold_where_there_is_no_run_out():
    # d(asin c0) for the elevation, d(sin e cos theta) for the clamp error: the same factor.
    assert axis_slopes(0.1, 0.0, 0.0) == pytest.approx(np.eye(3) / math.sqrt(0.99), abs=1e-12)


@pytest.mark.parametrize("psi", [0.0, 1.0, 2.5])
def test_the_axis_under_a_shaft_is_found_again(psi):
    theta, clamp = -0.2, ClampError(0.3, 0.7)
    shaft = math.asin(
        math.cos(0.3) * math.sin(theta) + math.sin(0.3) * math.cos(theta) * math.cos(psi)
    )
    assert axis_elevation(shaft, clamp, 0.7 + psi) == pytest.approx(theta, abs=1e-12)


def test_no_axis_lies_under_a_shaft_too_steep_for_its_clamp():
    assert math.isnan(axis_elevation(1.5, ClampError(0.5, 0.0), math.pi / 2))
