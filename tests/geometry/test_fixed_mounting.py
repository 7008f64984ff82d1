"""A head fixed to its wheel: the plane of gravity vectors, against SciPy's rotations."""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.transform import Rotation

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.fixed import fit_fixed, settled_fixed, turn_of_gravity

UP = np.array([0.0, 0.0, 1.0])


def readings(side, camber_deg, toe_deg, runout_deg, at_deg, spins_deg):
    """incl_x, incl_y, incl_z of a perfect head, shape (3, n): rotations by SciPy alone."""
    toe = Rotation.from_euler("z", -side.sign * toe_deg, degrees=True)
    lean = Rotation.from_euler("x", -side.sign * camber_deg, degrees=True)
    axis = (toe * lean).apply([0.0, 1.0, 0.0])
    about = [math.sin(at_deg * DEG), 0.0, math.cos(at_deg * DEG)]
    seat = (toe * lean) * Rotation.from_rotvec(runout_deg * DEG * np.array(about))
    turned = [Rotation.from_rotvec(spin * DEG * axis) * seat for spin in spins_deg]
    return np.arcsin([each.inv().apply(UP) for each in turned]).T


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("camber_deg", [-5.0, 0.0, 0.7, 5.0])
@pytest.mark.parametrize("spins_deg", [(0, 120, 240), (10, 40, 75), (0, 90, 180, 270, 355)])
def test_camber_and_clamp_error_are_exact(side, camber_deg, spins_deg):
    found = fit_fixed(readings(side, camber_deg, 2.0, 4.0, 50.0, spins_deg))
    assert found.camber_rad(side) / DEG == pytest.approx(camber_deg, abs=1e-9)
    assert found.clamp.angle_rad / DEG == pytest.approx(4.0, abs=1e-9)
    assert found.heading_rad is None


@pytest.mark.parametrize("side", list(Side))
def test_the_settled_wheel_is_read_in_any_position(side):
    turn = fit_fixed(readings(side, 1.0, 0.3, 3.0, 200.0, (0, 120, 240)), sigma_rad=1e-9).estimates
    for spin in (0.0, 77.0, 190.0):
        rest = readings(side, -2.5, 1.0, 3.0, 200.0, (spin,))[:, 0]
        read = tuple(Measured.of(float(v), 1e-9, source=f"{i}") for i, v in enumerate(rest))
        wheel = settled_fixed(read, turn.angle, turn.phase, side)
        assert wheel.camber.value / DEG == pytest.approx(-2.5, abs=1e-9)
        assert wheel.heading is None


def test_gravity_tells_the_turn_forward_positive():
    seen = readings(Side.RIGHT, 0.0, 0.0, 0.0, 0.0, (0, 30, 60))
    assert turn_of_gravity(seen[0], seen[2]) / DEG == pytest.approx([0.0, 30.0, 60.0])


def test_a_turn_is_worth_what_its_arc_allows():
    """Dilution of a full even turn is 1; of half a turn 2.3 (common knowledge of the fit)."""
    full = fit_fixed(readings(Side.LEFT, 1, 0, 2, 0, np.arange(0, 360, 10.0)))
    half = fit_fixed(readings(Side.LEFT, 1, 0, 2, 0, np.linspace(0, 180, 1000)))
    assert full.worth.dilution == pytest.approx(1.0, abs=1e-6)
    assert half.worth.dilution == pytest.approx(2.30, abs=0.01)


def test_stated_uncertainties_cover():
    """2000 seeded turns: 95 % t-intervals of camber and of the settled camber (Student's t)."""
    side, sigma, n = Side.LEFT, 0.01 * DEG, 12
    true = readings(side, 3.0, 2.0, 4.0, 63.0, np.linspace(12.0, 205.0, n))
    rest = readings(side, 1.0, 0.0, 4.0, 63.0, (111.0,))[:, 0]
    exact = tuple(Measured.of(float(v), 0.0, source=f"{i}") for i, v in enumerate(rest))
    factor, hits, settled_hits = stats.t.ppf(0.975, n - 3), 0, 0
    for seed in range(2000):
        noise = np.random.default_rng(seed).normal(0.0, sigma, true.shape)
        found = fit_fixed(np.arcsin(np.sin(true) + noise))
        hits += abs(found.camber_rad(side) - 3.0 * DEG) <= factor * found.u_camber_rad
        wheel = settled_fixed(exact, found.estimates.angle, found.estimates.phase, side)
        settled_hits += abs(wheel.camber.value - 1.0 * DEG) <= factor * wheel.camber.u
    assert 0.933 <= hits / 2000 <= 0.966
    assert 0.933 <= settled_hits / 2000 <= 0.966


@pytest.mark.parametrize(
    ("spins_deg", "code"), [((0, 120), "too-few-stops"), ((0, 0.6, 1.2, 1.8), "condition")]
)
def test_a_short_turn_is_refused(spins_deg, code):
    with pytest.raises(MeasurementRefused) as refused:
        fit_fixed(readings(Side.LEFT, 1, 0, 2, 0, spins_deg), sigma_rad=0.01 * DEG)
    assert refused.value.code == code


def test_noise_beyond_what_was_stated_is_refused():
    seen = readings(Side.LEFT, 1, 0, 2, 0, (0, 90, 180, 270))
    seen[1, 2] += 0.5 * DEG
    with pytest.raises(MeasurementRefused) as refused:
        fit_fixed(seen, sigma_rad=0.01 * DEG)
    assert refused.value.code == "scatter"


def test_an_uncertain_turn_and_no_numbers_are_refused():
    seen = readings(Side.LEFT, 1, 0, 2, 0, (0, 120, 240))
    with pytest.raises(MeasurementRefused, match=r"limit 0\.05 deg"):
        fit_fixed(seen, sigma_rad=0.2 * DEG)
    seen[2, 1] = np.nan
    with pytest.raises(MeasurementRefused, match="not finite"):
        fit_fixed(seen)
