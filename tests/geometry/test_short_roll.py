"""A wheel rolled through a part of a turn, its clamp known to sit nearly on centre.

Seeds 0 to 1999 draw wheel, clamp, eccentricity and noise.
The figure to reach (45 degrees, 60 readings, 0.02 deg, 2 mm: 0.05 deg) is the project's own.
"""

import functools
import math

import numpy as np
import pytest

from calibration.reporting import t_factor
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn
from ingest.geometry.sightline import Sightline

RUNS = 2000
LINE_M = 2.0
OFFSET_M = 0.002
SIGMA = math.radians(0.02)
ANY_U = RunoutLimits(u_camber_rad=math.inf)


def rolled(modelled, seed, arc_deg, n=60):
    """Return the axis' true elevation, and a turn with noise."""
    rng = np.random.default_rng(seed)
    spin = np.radians(rng.uniform(0.0, 360.0) + np.linspace(0.0, arc_deg, n))
    theta, heading = np.radians(rng.uniform(-3.0, 3.0)), np.radians(rng.uniform(179.0, 181.0))
    lean = np.radians(rng.uniform(-1.5, 1.5, 2))
    offset = rng.normal(0.0, OFFSET_M / math.sqrt(2.0) / LINE_M, 2)
    incl_y, azimuth = modelled([theta, *lean, heading, *offset], spin, np.zeros(n))
    noise = SIGMA * rng.standard_normal((2, n))
    return theta, Turn(spin, incl_y + noise[0], azimuth_rad=azimuth + noise[1], is_spin=True)


@functools.cache
def camber_errors(modelled, arc_deg, offset_rms_m, runs=RUNS):
    """Return errors and stated uncertainties of the elevation, rad, and the t factors."""
    line = Sightline(length_m=LINE_M, offset_rms_m=offset_rms_m)
    rows = []
    for seed in range(runs):
        theta, turn = rolled(modelled, seed, arc_deg)
        found = fit_runout(turn, sightline=line, limits=ANY_U)
        elevation = found.estimates.elevation
        rows.append((elevation.value - theta, elevation.u, t_factor(0.95, elevation.dof)))
    return np.array(rows).T


def test_an_eighth_of_a_turn_gives_the_camber_to_a_twentieth_of_a_degree(modelled):
    error, u, _ = camber_errors(modelled, 45.0, OFFSET_M)
    assert math.degrees(np.sqrt(np.mean(error**2))) < 0.05
    assert math.degrees(u.max()) < 0.06


def test_without_the_prior_an_eighth_of_a_turn_is_not_worth_much(modelled):
    error, _, _ = camber_errors(modelled, 45.0, None, runs=400)
    assert math.degrees(np.sqrt(np.mean(error**2))) > 0.09


@pytest.mark.parametrize("arc_deg", [45.0, 90.0, 180.0, 350.0])
def test_intervals_of_a_short_roll_cover_as_they_say(arc_deg, modelled):
    error, u, k = camber_errors(modelled, arc_deg, OFFSET_M)
    assert 0.933 <= np.mean(np.abs(error) <= k * u) <= 0.966


def test_on_a_full_turn_the_prior_changes_next_to_nothing(modelled):
    with_it, u, _ = camber_errors(modelled, 354.0, OFFSET_M, runs=100)
    without, u_without, _ = camber_errors(modelled, 354.0, None, runs=100)
    assert np.abs(with_it - without).max() < 0.05 * u.min()
    assert u == pytest.approx(u_without, rel=0.005)


@pytest.mark.parametrize("arc_deg", [45.0, 90.0, 180.0])
def test_dilution_is_that_of_the_estimator_used(arc_deg, modelled):
    """With a clamp on centre the cone is one unknown of both channels: stacked, by NumPy."""
    x = np.radians(np.linspace(0.0, arc_deg, 60))
    one, none = np.ones(60), np.zeros(60)
    elevation = np.stack([one, none, np.cos(x), np.sin(x)], axis=1)
    heading = np.stack([none, one, np.sin(x), -np.cos(x)], axis=1)
    both = np.vstack([elevation, heading])
    expected = math.sqrt(60 * np.linalg.inv(both.T @ both)[0, 0])
    _, turn = rolled(modelled, 3, arc_deg)
    line = Sightline(length_m=LINE_M, offset_rms_m=1e-7)
    found = fit_runout(turn, sightline=line, sigma_rad=SIGMA, limits=ANY_U)
    assert found.worth.dilution == pytest.approx(expected, rel=0.01)


def test_a_sightline_without_a_length_carries_no_prior(modelled):
    _, turn = rolled(modelled, 3, 45.0)
    free = fit_runout(turn, sightline=Sightline(), limits=ANY_U)
    same = fit_runout(turn, sightline=Sightline(offset_rms_m=None), limits=ANY_U)
    assert free.elevation_rad == same.elevation_rad


def test_the_clamp_error_that_is_carried_on_gains_as_well(modelled):
    line = Sightline(length_m=LINE_M)
    _, turn = rolled(modelled, 5, 45.0)
    held = fit_runout(turn, sightline=line, limits=ANY_U).estimates
    free = fit_runout(turn, sightline=Sightline(length_m=LINE_M, offset_rms_m=None), limits=ANY_U)
    assert held.angle.u < 0.6 * free.estimates.angle.u
    assert held.heading.u < free.estimates.heading.u


@pytest.mark.parametrize("offset_m", [0.0, -0.001, math.nan])
def test_refuses_an_offset_that_cannot_be(offset_m):
    with pytest.raises(ValueError, match="offset"):
        Sightline(length_m=2.0, offset_rms_m=offset_m)
