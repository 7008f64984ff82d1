"""What is no noise and moves the readings: floor and drift, in the uncertainty of a turn.

The gain of a short arc is worked out anew with NumPy's pseudo-inverse of the plain first
harmonic. That an even drift of 0.05 deg shifts the mean by 0.025 at any span follows from
symmetry: less its half, a drift is odd about the middle, and the constant's weights are even.
"""

import math

import numpy as np
import pytest

from ingest.core.errors import MeasurementRefused
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn
from ingest.geometry.sightline import Sightline
from ingest.geometry.terms import ON_A_JACK, ROLLED, TurnTerms

ANY_U = RunoutLimits(u_camber_rad=math.inf)
FLOOR = math.radians(0.02)
DRIFT = math.radians(0.05)
QUIET = math.radians(1e-5)


def turn(arc_deg, n=120, way=1.0, moved=0.0, seed=2):
    rng = np.random.default_rng(seed)
    spin = 0.4 + way * np.radians(np.linspace(0.0, arc_deg, n))
    incl_y = np.radians(0.8) * np.cos(spin - 0.3) + moved + QUIET * rng.standard_normal(n)
    azimuth = -math.pi / 2 + np.radians(0.8) * np.sin(spin - 0.3)
    azimuth += QUIET * rng.standard_normal(n)
    return Turn(spin, incl_y, azimuth_rad=azimuth, is_spin=True)


def u_camber(readings, terms, line=None):
    return fit_runout(
        readings, sigma_rad=QUIET, sightline=line, limits=ANY_U, terms=terms
    ).u_camber_rad


def gain(arc_deg, shapes, n=120):
    x = np.radians(np.linspace(0.0, arc_deg, n))
    row = np.linalg.pinv(np.stack([np.ones(n), np.cos(x), np.sin(x)], axis=1))[0]
    return math.hypot(*(shapes @ row))


@pytest.mark.parametrize("arc_deg", [90.0, 180.0, 270.0])
def test_a_wave_of_the_floor_is_amplified_by_a_short_roll(arc_deg):
    t = np.linspace(0.0, 2.0 * math.pi, 120)
    expected = gain(arc_deg, np.stack([np.cos(t), np.sin(t)]))
    u = u_camber(turn(arc_deg), TurnTerms(floor_rad=FLOOR))
    assert u == pytest.approx(expected * FLOOR, rel=0.02)


def test_no_other_wave_is_amplified_much_more():
    t = np.linspace(0.0, 1.0, 120)
    for arc_deg in (90.0, 180.0):
        waves = [2.0 * math.pi * k * t for k in np.arange(0.5, 4.0, 0.05)]
        worst = max(gain(arc_deg, np.stack([np.cos(w), np.sin(w)])) for w in waves)
        own = gain(arc_deg, np.stack([np.cos(2 * math.pi * t), np.sin(2 * math.pi * t)]))
        assert worst < 1.1 * own


@pytest.mark.parametrize("arc_deg", [90.0, 180.0, 355.0])
def test_half_of_a_steady_drift_is_in_the_camber(arc_deg):
    u = u_camber(turn(arc_deg), TurnTerms(drift_rad=DRIFT))
    assert math.degrees(u) == pytest.approx(0.025, rel=0.01)


def test_a_drift_shifts_the_camber_by_its_stated_share():
    drifting = turn(180.0, moved=DRIFT * np.linspace(0.0, 1.0, 120))
    found = fit_runout(drifting, limits=ANY_U, terms=TurnTerms(drift_rad=DRIFT))
    assert math.degrees(found.elevation_rad) == pytest.approx(0.025, rel=0.02)


def test_a_drift_that_nobody_stated_is_refused_as_one():
    drifting = turn(355.0, moved=DRIFT * np.linspace(0.0, 1.0, 120))
    with pytest.raises(MeasurementRefused, match="temperature of the bay") as refused:
        fit_runout(drifting, limits=ANY_U)
    assert refused.value.code == "drift"
    assert refused.value.figure == pytest.approx(0.05, rel=0.01)


def test_the_way_back_over_a_floor_is_as_uneven_as_the_way_there():
    there, back = (u_camber(turn(90.0, way=way), ROLLED) for way in (1.0, -1.0))
    assert there == pytest.approx(back, rel=0.01)


def test_a_floor_is_no_trouble_to_a_sightline():
    line, terms = Sightline(length_m=2.0, offset_rms_m=1e-5), TurnTerms(floor_rad=FLOOR)
    held, free = u_camber(turn(45.0), terms, line), u_camber(turn(45.0), terms)
    assert held < 0.1 * free


def test_a_wheel_on_a_jack_has_no_floor():
    assert not ON_A_JACK.shapes(np.linspace(0.0, 1.0, 5)).size
    assert u_camber(turn(180.0), ON_A_JACK) < 1e-2 * u_camber(turn(180.0), ROLLED)


def test_floor_and_noise_are_told_apart():
    camber = fit_runout(turn(180.0), limits=ANY_U, terms=ROLLED).estimates.elevation
    assert {part.source.name for part in camber.parts} == {
        "noise of the turn",
        "floor and drift during the turn",
    }


@pytest.mark.parametrize("bad", [-1e-3, math.nan, math.inf])
def test_refuses_terms_that_cannot_be(bad):
    with pytest.raises(ValueError, match="floor_rad"):
        TurnTerms(floor_rad=bad)
    with pytest.raises(ValueError, match="drift_rad"):
        TurnTerms(drift_rad=bad)
