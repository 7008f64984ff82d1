"""When a live network warns: quantiles against SciPy, the chance by drawing, a note below it."""

import json

import numpy as np
import pytest
from scipy import stats

from calibration.measured import Measured
from ingest.geometry.network.alarming import FALSE_ALARM, chi2_most, contradictory, w_most
from ingest.geometry.network.correlated import solve
from ingest.geometry.network.judging import CRITICAL_W
from ingest.payload.network_file import parse_network_file
from ingest.payload.network_read import network_of
from ingest.service.networkwords import disagreement, doubt


@pytest.mark.parametrize("dof", [1, 4, 17])
def test_the_limits_are_those_of_half_the_chance_each(dof):
    assert chi2_most(dof) == pytest.approx(stats.chi2.isf(FALSE_ALARM / 2.0, dof), rel=1e-9)
    assert w_most(dof) == pytest.approx(stats.norm.isf(FALSE_ALARM / 4.0 / dof), rel=1e-9)
    assert chi2_most(0) is None


def test_sound_readings_are_called_contradictory_once_in_a_thousand_times():
    rng = np.random.default_rng(5)
    design = rng.standard_normal((26, 17))
    basis = np.linalg.qr(design)[0]
    projector = np.eye(26) - basis @ basis.T
    misfits = rng.standard_normal((20_000, 26)) @ projector
    w = misfits / np.sqrt(projector.diagonal())
    chi2 = np.einsum("ij,ij->i", misfits, misfits)
    warned = sum(contradictory(9, c, each) for c, each in zip(chi2.tolist(), w, strict=True))
    low, high = stats.binom.ppf([5e-4, 1 - 5e-4], len(chi2), FALSE_ALARM)
    # Both tests overlap, so that the chance is a little below what it is said to be.
    assert 0.4 * low <= warned <= high


def test_a_reading_that_only_the_plain_command_would_name_is_still_named(four_heads):
    document = four_heads(zero_deg=0.02, diagonals=True)
    network = network_of(parse_network_file(json.dumps(document)))
    place, found = 5, None
    for off in np.arange(2.0, 40.0, 0.25):
        read = {
            i: Measured.of(r.value, r.sigma, source=f"reading {i}")
            for i, r in enumerate(network.readings)
        }
        read[place] = read[place] + float(off) * network.readings[place].sigma
        found = solve(network, read)
        if found.suspect is not None:
            break
    assert found.suspect == place
    assert abs(found.standardised[place]) > CRITICAL_W
    assert found.fits
    assert network.readings[place].named() in doubt(found)
    read[place] = read[place] + 10.0 * network.readings[place].sigma
    worse = solve(network, read)
    assert not worse.fits
    assert network.readings[place].named() in disagreement(worse)


def test_the_figures_without_parts_are_those_of_the_parts(four_heads):
    network = network_of(parse_network_file(json.dumps(four_heads(zero_deg=0.02))))
    read = {
        i: Measured.of(r.value, r.sigma, source=f"reading {i}", dof=4.0 + i)
        + Measured.of(0.0, r.sigma, source=f"zero of {r.line.at}", shared=True)
        for i, r in enumerate(network.readings)
    }
    for told in solve(network, read).told:
        if told.result.measured is not None and told.result.measured.parts:
            assert told.u == pytest.approx(told.measured.u, rel=1e-12)
            assert told.dof == pytest.approx(told.measured.dof, rel=1e-9)
