"""Readings that err together: against SciPy's general solver, and against repeated measurement."""

import json
import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from calibration.measured import Measured, Source, covariance
from ingest.geometry.network.correlated import solve
from ingest.geometry.network.stations import Kind
from ingest.payload.network_file import parse_network_file
from ingest.payload.network_read import network_of

DEG = math.pi / 180.0


def network_from(document):
    return network_of(parse_network_file(json.dumps(document)))


def read_of(network, *, zeros=True, tied_rad=0.0):
    """Return the file's readings; what is common to a head's directions is a part of each."""
    zero_of = {s.id: s.zero_sigma_rad for s in network.stations}
    read = {}
    for i, reading in enumerate(network.readings):
        one = Measured.of(reading.value, reading.sigma, source=f"reading {i}")
        if reading.kind is Kind.DIRECTION and zeros and zero_of[reading.line.at]:
            source = Source(f"zero of {reading.line.at}", shared=True)
            one = one + Measured.of(0.0, zero_of[reading.line.at], source=source)
        if reading.kind is Kind.DIRECTION and tied_rad:
            ends = sorted((reading.line.at, reading.line.to))
            source = Source(f"line {ends[0]} to {ends[1]}", shared=True)
            one = one + Measured.of(0.0, tied_rad, source=source)
        read[i] = one
    return read


@pytest.mark.parametrize("seed", [4, 12, 20])
def test_a_zero_in_the_covariance_is_what_a_zero_among_the_unknowns_is(
    drawn_vehicle, whitened, seed
):
    # Two forms of one model: here a full covariance, in SciPy's vector an unknown held by its
    # sigma. Their minima are equal (from memory: Koch, Parameter Estimation, on mixed models).
    rig = drawn_vehicle(seed)
    model = whitened(rig.document)
    theirs = least_squares(model, model.start, method="trf", xtol=1e-15, ftol=1e-15, gtol=1e-12)
    network = network_from(rig.document)
    solved = solve(network, read_of(network))
    assert solved.chi2 == pytest.approx(2.0 * theirs.cost, rel=1e-6, abs=1e-9)
    assert solved.dof == len(theirs.fun) - np.linalg.matrix_rank(theirs.jac, tol=1e-3)


def test_what_both_ends_of_a_line_share_drops_out_of_a_total_toe_alone(four_heads):
    document = four_heads()
    network = network_from(document)
    apart = solve(network, read_of(network))
    tied = solve(network, read_of(network, tied_rad=0.06 * DEG))
    u = [
        {t.result.quantity.label: t.measured.u for t in solved.told if t.result.measured}
        for solved in (apart, tied)
    ]
    # The line across turns for both its heads alike: arithmetic of right less left.
    assert u[1]["total_toe_deg axle 1"] == pytest.approx(u[0]["total_toe_deg axle 1"], rel=0.2)
    assert u[1]["setback_deg axle 1"] > 1.3 * u[0]["setback_deg axle 1"]


def test_results_scatter_as_they_say_and_together(four_heads):
    rng = np.random.default_rng(8)
    network = network_from(four_heads(zero_deg=0.02))
    exact = read_of(network, tied_rad=0.03 * DEG)
    sources, n = sorted({p.source.name for r in exact.values() for p in r.parts}), 300
    found = []
    for _ in range(n):
        drawn = dict(zip(sources, rng.standard_normal(len(sources)), strict=True))
        read = {
            i: Measured(
                r.value + sum(drawn[p.source.name] * p.components[0] for p in r.parts), r.parts
            )
            for i, r in exact.items()
        }
        solved = solve(network, read)
        found.append([t.result.measured.value for t in solved.told if t.result.measured.parts])
    told = [t.measured for t in solved.told if t.result.measured.parts]
    scatter, stated = np.cov(np.array(found), rowvar=False), covariance(told)
    ratio = np.diag(scatter) / np.diag(stated)
    # A variance from n draws has the relative deviation sqrt(2 / (n - 1)).
    assert np.abs(ratio - 1.0).max() < 4.5 * math.sqrt(2.0 / (n - 1))
    size = np.sqrt(np.outer(np.diag(stated), np.diag(stated)))
    assert np.abs((scatter - stated) / size).max() < 0.4


@pytest.mark.parametrize("place", [0, 5, 9])
def test_a_gross_error_is_named_and_no_other(four_heads, place):
    network = network_from(four_heads(zero_deg=0.02, diagonals=True))
    read = read_of(network)
    read[place] = read[place] + 30.0 * network.readings[place].sigma
    solved = solve(network, read)
    assert solved.suspect == place
    assert not solved.fits
