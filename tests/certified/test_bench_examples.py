"""Bench fits against published examples. Each number's source stands beside it."""

import math

import numpy as np
import pytest

from calibration.fits.allan import overlapping_allan
from calibration.fits.encoder_turn import fit_turn
from calibration.fits.gravity import local_gravity_m_s2, normal_gravity_m_s2
from calibration.fits.result import Fit, solve
from calibration.fits.tilt_reversal import fit_reversal
from calibration.fits.tilt_sphere import fit_sphere
from calibration.fits.tilt_steps import fit_steps, sine_of

# GUM (JCGM 100:2008) H.3, table H.6: thermometer temperatures and corrections, degC.
H3_T = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
H3_B = -0.001 * np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160])


def line(at: float) -> Fit:
    return solve(np.column_stack([np.ones(len(H3_T)), H3_T - at]), H3_B, ("value", "slope"))


def test_gum_h3_line() -> None:
    fit = line(20.0)
    assert fit.value("value") == pytest.approx(-0.1712, abs=5e-5)
    assert fit.u("value") == pytest.approx(0.0029, abs=5e-5)
    assert fit.value("slope") == pytest.approx(0.00218, abs=5e-6)
    assert fit.u("slope") == pytest.approx(0.00067, abs=5e-6)
    r = fit.covariance[0, 1] / fit.u("value") / fit.u("slope")
    assert r == pytest.approx(-0.930, abs=5e-4)
    assert fit.sigma == pytest.approx(0.0035, abs=5e-5)
    value, slope = fit.measured(("value", "slope"), source="line")
    at_30 = value + 10.0 * slope
    assert (at_30.value, at_30.u) == (
        pytest.approx(-0.1494, abs=5e-5),
        pytest.approx(0.0041, abs=5e-5),
    )


def test_gum_h3_line_about_the_mean_is_uncorrelated() -> None:
    fit = line(float(H3_T.mean()))
    assert fit.covariance[0, 1] == pytest.approx(0.0, abs=1e-15)
    assert fit.u("value") == pytest.approx(0.001055, abs=5e-7)  # recomputed, not printed


def test_six_positions_of_a_real_sensor() -> None:
    # Means of rest positions in the example session of GitHub mad-lab-fau/imucal (MIT),
    # recomputed from its raw counts; the sphere's answer is our own derivation from them.
    counts = np.array(
        [
            [2039.635, -62.713, 13.937],
            [-2051.673, -30.280, -76.004],
            [8.944, 1991.568, -55.811],
            [-20.197, -2088.144, -10.375],
            [-34.779, -24.790, 2077.468],
            [10.826, -121.301, -2135.400],
        ]
    )
    fit = fit_sphere(counts / 2048.0)
    bias = [-6.064518, -48.247314, -29.504671]
    assert np.abs(fit.residuals).max() < 1e-12  # six unknowns meet six rows exactly
    # The means above are rounded to 0.001 counts, and so no closer than this:
    np.testing.assert_allclose(fit.values[:3] * 2048.0, bias, atol=1e-3)
    scale = [2046.186006, 2040.029271, 2107.319152]
    np.testing.assert_allclose(2048.0 / fit.values[3:6], scale, rtol=5e-7)
    assert "m xy" in fit.undetermined


@pytest.mark.parametrize(
    ("height", "length", "degrees", "digits"),
    [
        (2.826, 5.0, 34 + 25 / 60, 1e-3),  # Handbook of Machining and Metalworking Calculations
        (2.270, 5.0, 27.0, 1e-3),  # workshop answers on sine bars (higherprecision.com)
        (2.5, 5.0, 30.0, 1e-9),  # the same
        (1.0, 5.0, 11.537, 5e-4),  # Sparber, workshop note
        (8.715574, 100.0, 5.0, 1e-6),  # derived
    ],
)
def test_sine_bar_table(height: float, length: float, degrees: float, digits: float) -> None:
    assert math.degrees(math.asin(sine_of(height, length))) == pytest.approx(degrees, abs=digits)


def test_reversal_as_on_a_spirit_level() -> None:
    # ISO 230-1 practice; +3.2 and -2.4 mm/m, derived.
    fit = fit_reversal(np.array([3.2, -2.4]), np.array([1.0, -1.0]))
    assert fit.value("slope") == pytest.approx(2.8)
    assert fit.value("zero") == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("diameter_mm", "eccentric_um", "seconds"),
    [(100, 10, 41), (100, 25, 103), (100, 100, 412), (50, 10, 83), (50, 25, 206), (25, 10, 165)],
)
def test_eccentricity_table(diameter_mm: float, eccentric_um: float, seconds: float) -> None:
    # Published table at torquety.com, formula also in an encoder maker's answers. The trap:
    # the eccentricity is half the run-out of a dial gauge.
    runout_mm = 2 * eccentric_um / 1000
    phi = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    error = np.arcsin(runout_mm / 2 / (diameter_mm / 2) * np.sin(phi))
    fit = fit_turn(phi, phi - error)
    got = math.degrees(math.hypot(fit.value("cos 1"), fit.value("sin 1"))) * 3600
    assert got == pytest.approx(seconds, abs=0.6)


def test_share_of_gravity_per_degree() -> None:
    # Data sheet of a two-axis accelerometer: 17.5 mg per degree level, 12.2 mg at 45 deg.
    level, steep = (np.sin(np.radians([[a, 0], [a + 1, 0], [a, 1]])) for a in (0, 45))
    for true, printed in ((level, 17.5), (steep, 12.2)):
        fit = fit_steps(true * 2.0, true, sigma=1.0)
        assert fit.matrix[0, 0] == pytest.approx(0.5)
        seen = float(np.diff(true[:2, 0] * 2.0)[0] * fit.matrix[0, 0] * 1000)
        assert seen == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    [
        (0, 9.7803253359),
        (45, 9.8061977694),
        (50, 9.8107021356),
        (60, 9.8191769531),
        (90, 9.8321849378),
    ],
)  # WGS 84 values of the packages boule 0.6.0 and ahrs 0.4.0
def test_normal_gravity(latitude: float, gravity: float) -> None:
    assert normal_gravity_m_s2(math.radians(latitude)) == pytest.approx(gravity, abs=1e-9)


@pytest.mark.parametrize(("at", "height", "gravity"), [(52.3, 80, 9.812484), (60, 250, 9.818399)])
def test_local_gravity(at: float, height: float, gravity: float) -> None:
    # WELMEC formula, tests of ahrs 0.4.0.
    assert local_gravity_m_s2(math.radians(at), height) == pytest.approx(gravity, abs=1e-6)
    with pytest.raises(ValueError, match="beyond a pole"):
        local_gravity_m_s2(at, height)


def test_nine_points_of_sp1065() -> None:
    # NIST SP 1065 p. 107 (NBS14), by way of the tests of AllanTools 2024.6.
    y = np.array([892.0, 809, 823, 798, 671, 644, 883, 903, 677])
    curve = overlapping_allan(y, 1.0, [1, 2])
    np.testing.assert_allclose(curve.deviation, [91.22945, 85.95287], rtol=1e-6)


def _sp1065() -> np.ndarray:
    n, values = 1234567890, []
    for _ in range(1000):
        values.append(n / 2147483647)
        n = 16807 * n % 2147483647
    return np.array(values)


def test_thousand_points_of_sp1065() -> None:
    # NIST SP 1065 p. 108: congruential generator and overlapping deviations.
    y = _sp1065()
    assert y.mean() == pytest.approx(0.4897745, abs=5e-8)
    curve = overlapping_allan(y, 1.0, [1, 10, 100])
    np.testing.assert_allclose(curve.deviation, [0.2922319, 0.09159953, 0.03241343], rtol=2e-7)
    assert (curve.alpha == 0).all()
