"""What a turn is refused for, by code, with the figure and the limit it was held against."""

import math

import numpy as np
import pytest

from ingest.core.errors import MeasurementRefused
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn

SIGMA = math.radians(0.01)
ANY_U = RunoutLimits(u_camber_rad=math.inf)


def tilt_of(spin, *, theta_deg=1.0, e_deg=0.8, phase_deg=35.0):
    """Elevation of the shaft, from the exact equation of its cone."""
    theta, e = math.radians(theta_deg), math.radians(e_deg)
    swing = np.cos(spin - math.radians(phase_deg))
    return np.arcsin(math.cos(e) * math.sin(theta) + math.sin(e) * math.cos(theta) * swing)


def turn_of(spin, tilt, azimuth=None):
    return Turn(spin, tilt, azimuth_rad=azimuth, is_spin=True)


def refusal(turn, **options):
    with pytest.raises(MeasurementRefused) as refused:
        fit_runout(turn, **options)
    return refused.value


@pytest.mark.parametrize("channel", ["rotation_rad", "incl_y_rad", "incl_x_rad", "azimuth_rad"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("is_spin", [True, False])
def test_readings_that_are_no_numbers(channel, value, is_spin):
    channels = {name: np.zeros(6) for name in ("incl_y_rad", "incl_x_rad", "azimuth_rad")} | {
        "rotation_rad": np.arange(6.0)
    }
    channels[channel] = np.where(np.arange(6) == 2, value, channels[channel])
    refused = refusal(Turn(**channels, is_spin=is_spin))
    assert (refused.code, refused.figure, refused.limit) == ("non-finite", 1.0, 0.0)


@pytest.mark.parametrize(
    ("spin_deg", "sines", "reach"),
    [
        # Through three points at most one first harmonic passes: c0 = 0.5, A = 0.6 at 60 deg.
        ([0.0, 120.0, 240.0], [0.8, 0.8, -0.1], 1.1),
        ([0.0, 120.0, 240.0], [-0.8, -0.8, 0.1], 1.1),
    ],
)
def test_a_shaft_steeper_than_any_run_out(spin_deg, sines, reach):
    refused = refusal(turn_of(np.radians(spin_deg), np.arcsin(sines)))
    assert refused.code == "steep"
    assert refused.figure == pytest.approx(reach)
    assert refused.limit == 1.0


@pytest.mark.parametrize("at", [6, 40, 60, 80, 113])
@pytest.mark.parametrize("channel", ["tilt", "azimuth"])
def test_a_slip_anywhere_in_a_turn(at, channel):
    rng = np.random.default_rng(at)
    spin = np.linspace(0.0, math.tau, 120)
    noisy = {
        "tilt": tilt_of(spin) + SIGMA * rng.standard_normal(120),
        "azimuth": -math.pi / 2 + SIGMA * rng.standard_normal(120),
    }
    noisy[channel][at:] += math.radians(0.05)
    refused = refusal(turn_of(spin, noisy["tilt"], noisy["azimuth"]))
    assert refused.code in ("slip", "outliers")
    assert refused.figure > refused.limit
    if refused.code == "slip":
        assert refused.figure == pytest.approx(0.05, abs=0.03)


def test_the_slip_is_named_by_the_reading_it_came_before():
    rng = np.random.default_rng(8)
    spin = np.linspace(0.0, math.tau, 120)
    tilt = tilt_of(spin) + SIGMA * rng.standard_normal(120)
    tilt[70:] += math.radians(0.2)
    assert "before reading 71 " in str(refusal(turn_of(spin, tilt)))


def test_a_head_knocked_near_the_end_is_no_heap_of_outliers():
    rng = np.random.default_rng(9)
    spin = np.linspace(0.0, math.tau, 120)
    tilt = tilt_of(spin) + SIGMA * rng.standard_normal(120)
    tilt[-8:] += math.radians(1.0)
    refused = refusal(turn_of(spin, tilt))
    assert refused.code in ("slip", "outliers")


def test_too_many_outliers():
    rng = np.random.default_rng(10)
    spin = np.arange(60) * math.tau / 60
    tilt = tilt_of(spin) + SIGMA * rng.standard_normal(60)
    bad = np.arange(60) % 3 == 0
    tilt[bad] += math.radians(2.0) * rng.choice([-1.0, 1.0], 20)
    refused = refusal(turn_of(spin, tilt))
    assert refused.code in ("outliers", "u-too-large")


def test_stops_that_scatter_more_than_the_noise_stated():
    spin = np.radians([0.0, 90.0, 180.0, 270.0])
    tilt = tilt_of(spin) + math.radians(0.06) * np.array([1.0, -1.0, 1.0, -1.0])
    refused = refusal(turn_of(spin, tilt), sigma_rad=SIGMA)
    assert refused.code == "scatter"
    # The residuals lie along one direction of four, with one degree of freedom.
    assert refused.figure == pytest.approx(0.12, rel=0.01)


@pytest.mark.parametrize("stated", [True, False])
def test_stops_that_do_not_close(stated):
    spin = np.radians([0.0, 120.0, 240.0, 360.0])
    tilt = tilt_of(spin)
    tilt[3] += math.radians(0.2)
    refused = refusal(turn_of(spin, tilt), sigma_rad=SIGMA if stated else None, limits=ANY_U)
    assert refused.code == ("scatter" if stated else "not-closed")
    if not stated:
        assert refused.figure == pytest.approx(0.2, rel=1e-3)
        assert refused.limit == pytest.approx(0.1)


def test_stops_that_close_nearly_enough_are_taken():
    spin = np.radians([0.0, 120.0, 240.0, 360.0])
    tilt = tilt_of(spin)
    tilt[3] += math.radians(0.05)
    assert fit_runout(turn_of(spin, tilt), limits=ANY_U).dof == 1


def test_a_second_harmonic_is_fitted_where_proven_and_only_there():
    rng = np.random.default_rng(12)
    spin = np.arange(60) * math.tau / 60
    tilt = tilt_of(spin) + SIGMA * rng.standard_normal(60)
    assert fit_runout(turn_of(spin, tilt)).harmonics == 1
    bent = tilt + math.radians(0.03) * np.sin(2.0 * spin)
    found = fit_runout(turn_of(spin, bent))
    assert found.harmonics == 2
    assert found.dof == 60 - 5
    assert found.elevation_rad == pytest.approx(math.radians(1.0), abs=5 * SIGMA / math.sqrt(60))


def test_a_proven_harmonic_on_an_arc_costs_certainty_instead_of_truth():
    # On 200 deg a flange bent by 0.1 deg and a mean are hard to tell apart; u has to say so.
    rng = np.random.default_rng(13)
    spin = np.radians(np.linspace(0.0, 200.0, 120))
    tilt = tilt_of(spin) + SIGMA * rng.standard_normal(120)
    tilt += math.radians(0.1) * np.cos(2.0 * spin)
    found = fit_runout(turn_of(spin, tilt), limits=ANY_U)
    assert found.harmonics == 2
    assert abs(found.elevation_rad - math.radians(1.0)) < 4.0 * found.u_camber_rad


def test_a_step_that_hides_in_the_noise_is_no_slip():
    # 400 readings show 0.7 of their own scatter beyond doubt; it moves the mean by less.
    spin = np.linspace(0.0, 2.0 * math.tau, 400)
    tilt = tilt_of(spin) + SIGMA * np.random.default_rng(14).standard_normal(400)
    tilt[200:] += 0.7 * SIGMA
    assert fit_runout(turn_of(spin, tilt)).outliers == ()


def test_clean_turns_are_hardly_ever_refused():
    spin = np.linspace(0.0, math.radians(350.0), 120)
    refused = 0
    for seed in range(1000):
        rng = np.random.default_rng(seed)
        try:
            fit_runout(turn_of(spin, tilt_of(spin) + SIGMA * rng.standard_normal(120)))
        except MeasurementRefused:
            refused += 1
    assert refused <= 1


def test_readings_of_unequal_number_are_our_own_mistake():
    with pytest.raises(ValueError, match="incl_y has shape"):
        Turn(np.zeros(3), np.zeros(4))


def test_limits_of_nothing_are_our_own_mistake():
    with pytest.raises(ValueError, match="above zero"):
        RunoutLimits(u_camber_rad=0.0)
