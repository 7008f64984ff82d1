"""What goes round twice in a turn: its amplitude, phase and what it says of flange and bearing.

Readings are made from the harmonics themselves; 400 seeds each.
"""

import math

import numpy as np
import pytest

from calibration.reporting import t_factor
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import BENT, RunoutLimits, Turn
from ingest.geometry.terms import ON_A_JACK, ROLLED, TurnTerms

RUNS = 400
N = 72
SIGMA = math.radians(0.01)
ANY_U = RunoutLimits(u_camber_rad=math.inf)


def bent(amplitude_deg, phase_deg, seed=0, terms=ON_A_JACK):
    spin = np.arange(N) * math.tau / N
    incl_y = np.radians(0.7) * np.cos(spin - 0.4)
    incl_y += math.radians(amplitude_deg) * np.cos(2.0 * (spin - math.radians(phase_deg)))
    incl_y += SIGMA * np.random.default_rng(seed).standard_normal(N)
    return fit_runout(Turn(spin, incl_y, is_spin=True), limits=ANY_U, terms=terms)


@pytest.mark.parametrize("phase_deg", [-70.0, 20.0, 85.0])
def test_amplitude_and_phase_are_right_and_their_intervals_cover(phase_deg):
    inside = np.zeros(2)
    for seed in range(RUNS):
        found = bent(0.05, phase_deg, seed)
        second, k = found.second, t_factor(0.95, found.dof)
        off = second.phase.value - math.radians(phase_deg)
        off = math.remainder(off, math.pi)  # Twice a turn: half a turn on it is the same.
        inside += (
            abs(second.amplitude.value - math.radians(0.05)) <= k * second.amplitude.u,
            abs(off) <= k * second.phase.u,
        )
    # 95 % within three binomial deviations of 400.
    assert np.all(np.abs(inside / RUNS - 0.95) < 3.0 * math.sqrt(0.95 * 0.05 / RUNS))


def test_a_bent_flange_is_hinted_at():
    assert bent(0.05, 20.0).hints == (BENT,)


def test_a_true_axis_shows_no_second_harmonic():
    assert sum(bent(0.0, 0.0, seed).second is not None for seed in range(RUNS)) <= 3


def test_what_a_floor_may_do_is_not_blamed_on_the_flange():
    assert BENT in bent(0.02, 20.0, terms=ON_A_JACK).hints
    rolled = bent(0.02, 20.0, terms=ROLLED)
    assert rolled.second is not None
    assert BENT not in rolled.hints
    assert BENT in bent(0.02, 20.0, terms=TurnTerms(floor_rad=math.radians(0.005))).hints
