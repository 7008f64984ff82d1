"""Few stops, one of them wrong: left out one at a time, it is named, or nothing is."""

import math

import numpy as np
import pytest

from ingest.core.errors import MeasurementRefused
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import ODD_STOP, RunoutLimits, Turn

SIGMA = math.radians(0.01)
ANY_U = RunoutLimits(u_camber_rad=math.inf)


def stops(count, wrong, by_deg, seed=1):
    rng = np.random.default_rng(seed)
    spin = np.arange(count) * math.tau / count + rng.uniform(-0.1, 0.1, count)
    incl_y = np.radians(1.2) + np.radians(0.8) * np.cos(spin - 0.7)
    incl_y += SIGMA * rng.standard_normal(count)
    incl_y[wrong] += math.radians(by_deg)
    return Turn(spin, incl_y, is_spin=True)


@pytest.mark.parametrize("count", [5, 6, 7])
@pytest.mark.parametrize("wrong", [0, 2, 4])
def test_names_the_stop_to_take_again(count, wrong):
    with pytest.raises(MeasurementRefused, match=f"without stop {wrong + 1} the others") as refused:
        fit_runout(stops(count, wrong, 0.4), sigma_rad=SIGMA, limits=ANY_U)
    assert refused.value.code == "scatter"


def test_four_stops_cannot_tell_which_one_is_wrong():
    with pytest.raises(MeasurementRefused, match="seat it and turn again") as refused:
        fit_runout(stops(4, 1, 0.4), sigma_rad=SIGMA, limits=ANY_U)
    assert refused.value.code == "scatter"


def test_two_wrong_stops_are_not_blamed_on_one():
    turn = stops(7, 1, 0.4)
    turn.incl_y_rad[5] += math.radians(0.5)
    turn = Turn(turn.rotation_rad, turn.incl_y_rad, is_spin=True)
    with pytest.raises(MeasurementRefused, match="seat it and turn again"):
        fit_runout(turn, sigma_rad=SIGMA, limits=ANY_U)


def test_good_stops_are_taken():
    found = [
        fit_runout(stops(6, 0, 0.0, seed), sigma_rad=SIGMA, limits=ANY_U) for seed in range(50)
    ]
    errors = [math.degrees(each.elevation_rad) - 1.2 for each in found]
    assert max(map(abs, errors)) < 4.0 * 0.01 / math.sqrt(6)


def test_of_stops_of_unknown_noise_the_odd_one_is_told():
    found = fit_runout(stops(7, 3, 2.0), limits=ANY_U)
    assert (found.hints, found.odd_stop) == ((ODD_STOP,), 3)


@pytest.mark.parametrize("count", [5, 6, 7])
def test_good_stops_of_unknown_noise_are_not_doubted(count):
    found = [fit_runout(stops(count, 0, 0.0, seed), limits=ANY_U) for seed in range(1000)]
    # One in a thousand is; more than five of a thousand are chance once in 1700 (Poisson).
    assert sum(each.odd_stop is not None for each in found) <= 5


@pytest.mark.parametrize("count", [3, 4])
def test_three_or_four_stops_tell_of_no_odd_one(count):
    assert fit_runout(stops(count, 1, 2.0), limits=ANY_U).odd_stop is None
